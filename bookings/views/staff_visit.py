"""One visit: everything known of it, and each thing that may happen to it behind a page of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from bookings import links
from bookings.forms.plain import PlainForm
from bookings.forms.staff import ActForm, ConfirmForm, DropOffForm, HandOverForm, MoveForm, NoteForm, ReasonForm
from bookings.models import Job, Visit
from bookings.rules import transitions
from bookings.rules.safety import NEVER_COATED
from bookings.rules.transitions import Action
from bookings.rules.types import Condition, VisitState
from bookings.services import bookings, jobs
from bookings.text import ZONE
from bookings.views import free_days
from bookings.views.staff_door import REFUSALS, actor, found_visit, in_words, moment_of, staff_page
from bookings.views.staff_next import next_thing, other_things

Facts = dict[str, Any]


@dataclass(frozen=True)
class Act:
    """One thing that may happen to a visit: what its page says, asks and does."""

    action: Action
    form: type[PlainForm]
    heading: Any
    press: Any
    done: Any
    run: Callable[[Visit, Facts, datetime, str], object]
    is_grave: bool = False


def _confirm(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    reason = _("%(name)s said yes. %(note)s") % {"name": facts["said_yes_by"], "note": facts["note"]}
    bookings.confirm(visit=visit, now=now, actor=who, reason=reason.strip())


def _move(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    bookings.move(visit=visit, start=facts["start"], now=now, actor=who, reason=facts["reason"])


def _call_off(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    bookings.call_off(visit=visit, now=now, actor=who, reason=facts["reason"])


def _miss(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    bookings.miss(visit=visit, now=now, actor=who, reason=facts["reason"])


def _drop_off(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    seen = facts | {"condition_seen": Condition(facts["condition_seen"])}
    jobs.drop_off(visit=visit, facts=jobs.DropOffFacts(**seen), now=now, actor=who)


def _start(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    jobs.start_work(visit=visit, now=now, actor=who)


def _finish(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    jobs.finish_work(visit=visit, now=now, actor=who)


def _ready(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    jobs.make_ready(visit=visit, now=now, actor=who)


def _hand_over(visit: Visit, facts: Facts, now: datetime, who: str) -> None:
    jobs.hand_over(visit=visit, collected_by=facts["collected_by"], now=now, actor=who)


_T = gettext_lazy
ACTS: dict[str, Act] = {
    "confirm": Act(
        Action.CONFIRM,
        ConfirmForm,
        _T("Confirm this visit"),
        _T("Confirm"),
        _T("Confirmed. The time is firm."),
        _confirm,
    ),
    "move": Act(Action.MOVE, MoveForm, _T("Move this visit"), _T("Move"), _T("Moved to the new time."), _move),
    "call-off": Act(
        Action.CALL_OFF,
        ReasonForm,
        _T("Call this visit off"),
        _T("Call off"),
        _T("Called off. The time is free again."),
        _call_off,
        is_grave=True,
    ),
    "missed": Act(
        Action.MISS,
        NoteForm,
        _T("The bike did not come"),
        _T("Note it as missed"),
        _T("Noted as missed. The time is free again."),
        _miss,
        is_grave=True,
    ),
    "drop-off": Act(
        Action.DROP_OFF,
        DropOffForm,
        _T("The bike is here"),
        _T("Take it in"),
        _T("The bike is in the house."),
        _drop_off,
    ),
    "start": Act(Action.START_WORK, ActForm, _T("Start work"), _T("Start work"), _T("Work has begun."), _start),
    "finish": Act(
        Action.FINISH_WORK, ActForm, _T("Finish work"), _T("Finish work"), _T("Work is done. The coats cure."), _finish
    ),
    "ready": Act(
        Action.MAKE_READY,
        ActForm,
        _T("Ready to leave"),
        _T("Ready to leave"),
        _T("The bike is ready to leave."),
        _ready,
    ),
    "hand-over": Act(
        Action.HAND_OVER,
        HandOverForm,
        _T("Hand over"),
        _T("Hand over"),
        _T("Handed over. The record is closed."),
        _hand_over,
    ),
}
# Presses made at the bench lead back to it.
_AT_THE_BENCH = {"start", "finish"}


@require_safe
@staff_page
def visit_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything of a visit, and only what its state allows."""
    visit = found_visit(pk)
    now = moment_of(request)
    earlier = visit.bike.visits.exclude(pk=visit.pk).select_related("tier").order_by("-starts_at")
    context = {
        "visit": visit,
        "job": Job.objects.filter(visit=visit).prefetch_related("coats__product", "sign_offs", "steps_done").first(),
        "next": next_thing(visit, now),
        "others": other_things(visit, now),
        "has_lapsed": _has_lapsed(visit, now),
        "earlier": earlier,
        "visit_token": links.visit_token(visit),
    }
    return render(request, "bookings/staff/visit.html", context)


def _has_lapsed(visit: Visit, now: datetime) -> bool:
    held_until = visit.pencilled_until
    return visit.state == VisitState.PENCILLED and held_until is not None and held_until < now


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def act(request: HttpRequest, pk: int, verb: str) -> HttpResponse:
    """The page of one action: GET asks, POST acts; a refusal keeps what was typed."""
    if verb not in ACTS:
        raise Http404
    visit, chosen = found_visit(pk), ACTS[verb]
    form, extra = _form_of(request, visit, chosen)
    status = 200
    if form.is_bound:
        try:
            # What the state forbids is said before any mistake in the form: mending it would be in vain.
            transitions.after(VisitState(visit.state), chosen.action)
            if form.is_valid():
                chosen.run(visit, form.cleaned_data, moment_of(request), actor(request))
                messages.success(request, str(chosen.done))
                return redirect(_after(request, visit, verb))
            status = 422
        except REFUSALS as refusal:
            status = 409
            form.full_clean()
            for words in in_words(refusal):
                form.add_error(None, words)
    context = {"visit": visit, "act": chosen, "verb": verb, "form": form, **extra}
    return render(request, "bookings/staff/act.html", context, status=status)


def _form_of(request: HttpRequest, visit: Visit, chosen: Act) -> tuple[PlainForm, Facts]:
    data = request.POST if request.method == "POST" else None
    if chosen.form is not MoveForm:
        return chosen.form(data, visit=visit), {}
    from_day = free_days.asked_day(request.GET.get("from", ""))
    offered = free_days.for_visit(visit, now=moment_of(request), from_day=from_day, notice_minutes=0)
    return MoveForm(data, free=offered.free, shown=offered.shown), {"offered": offered}


def _after(request: HttpRequest, visit: Visit, verb: str) -> str:
    if request.POST.get("back") == "today":
        return reverse("staff:today")
    return reverse("staff:bench" if verb in _AT_THE_BENCH else "staff:visit", args=[visit.pk])


@require_safe
@staff_page
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The bench sheet, for paper."""
    visit = found_visit(pk)
    job = Job.objects.filter(visit=visit).prefetch_related("coats__product", "steps_done", "sign_offs").first()
    done = {tick.step_id for tick in job.steps_done.all()} if job else set()
    steps = [(step, step.pk in done) for step in visit.tier.steps.all()]
    coats = list(job.coats.all()) if job else []
    context = {
        "visit": visit,
        "job": job,
        "steps": steps,
        "zones": [
            (words, [coat for coat in coats if coat.zone == zone]) for zone, words in ZONE if zone not in NEVER_COATED
        ],
        "never_coated": [words for zone, words in ZONE if zone in NEVER_COATED],
    }
    return render(request, "bookings/staff/sheet.html", context)
