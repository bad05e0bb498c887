"""The workbench page of notices: every message the shop owes or has sent, told in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from bookings.views.staff_door import actor, moment_of, staff_page
from reminders import selectors
from reminders.models import Notice
from reminders.selectors.messages import declined
from reminders.services import handling
from reminders.services.handling import NotAgain

PAGE_SIZE = 40
State = Notice.State


@dataclass(frozen=True)
class Shown:
    """A notice with the word for how it stands."""

    notice: Notice
    word: str
    may_resend: bool
    may_close: bool


@staff_page
@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """What needs a person first, then what waits, then what has been."""
    now = moment_of(request)
    troubled = selectors.late_or_doubtful(now)
    waiting = selectors.notices().filter(state__in=(State.WAITING, State.SENDING)).exclude(selectors.late(now))
    settled = selectors.notices().filter(state__in=(State.SENT, State.DROPPED)).order_by("-settled_at", "-pk")
    page = Paginator(settled, PAGE_SIZE).get_page(request.GET.get("page"))
    context: dict[str, Any] = {
        "troubled": [_shown(notice, late=True) for notice in troubled],
        "waiting": [_shown(notice) for notice in waiting.order_by("due_at", "pk")],
        "settled": [_shown(notice) for notice in page],
        "page": page,
        "unscheduled": [
            (visit, reason)
            for visit in selectors.collected_without_schedule()
            if (reason := selectors.schedule_obstacle(visit, now))
        ],
        "not_right": selectors.not_right(),
        "declined": declined(now),
        "to_ring": selectors.recall_by_phone(now),
    }
    return render(request, "reminders/staff/notices.html", context)


def _shown(notice: Notice, late: bool = False) -> Shown:
    words = {
        State.WAITING: _("late") if late else _("waiting"),
        State.SENDING: _("being handed over"),
        State.SENT: _("handed over"),
        State.IN_DOUBT: _("in doubt"),
        State.FAILED: _("failed"),
        State.DROPPED: _("closed"),
    }
    state = State(notice.state)
    return Shown(notice, words[state], state is State.IN_DOUBT, state in (State.IN_DOUBT, State.FAILED))


@staff_page
@require_safe
def notice(request: HttpRequest, primary_key: int) -> HttpResponse:
    """One notice from its cause to what became of it, and what it says."""
    found = get_object_or_404(selectors.notices(), pk=primary_key)
    is_late = selectors.notices().filter(selectors.late(moment_of(request)), pk=found.pk).exists()
    context = {
        "shown": _shown(found, late=is_late),
        "life": selectors.life(found),
        "next_copy": handling.next_copy(found) if handling.may_copy(found) else 0,
    }
    return render(request, "reminders/staff/notice.html", context)


@staff_page
@require_POST
def resend(request: HttpRequest, primary_key: int) -> HttpResponse:
    """Let a notice in doubt go out once more; somebody has decided so, perhaps after a call."""
    found = get_object_or_404(Notice, pk=primary_key)
    if handling.again(found, by=actor(request), now=moment_of(request)):
        messages.success(request, _("It goes out once more, in the same words."))
    else:
        messages.info(request, _("It is no longer in doubt, so nothing was sent again."))
    return redirect("notices:outbox")


@staff_page
@require_POST
def copy(request: HttpRequest, primary_key: int) -> HttpResponse:
    """Write a failed or lost notice afresh."""
    found = get_object_or_404(Notice, pk=primary_key)
    number = request.POST.get("number", "")
    is_number = number.isascii() and number.isdigit() and len(number) < 5
    try:
        made = handling.copy(found, number=int(number) if is_number else 0, by=actor(request), now=moment_of(request))
    except NotAgain as refused:
        messages.error(request, _("Nothing was sent again. %(why)s") % {"why": refused})
        return redirect("notices:notice", primary_key=found.pk)
    messages.success(request, _("A fresh copy goes out now."))
    return redirect("notices:notice", primary_key=made.pk)


@staff_page
@require_POST
def close(request: HttpRequest, primary_key: int) -> HttpResponse:
    """Somebody has rung the rider, or knows that nothing is missing."""
    found = get_object_or_404(Notice, pk=primary_key)
    if handling.close(found, by=actor(request), now=moment_of(request)):
        messages.success(request, _("Taken off the list."))
    return redirect("notices:outbox")
