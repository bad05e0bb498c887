"""The rider's private page of one visit: what, when, what comes next; move it, call it off, put it in a calendar."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from email.utils import parseaddr
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from bookings import ics, links, selectors
from bookings.forms.public import CallOffForm, StartForm, stamp
from bookings.models import Job, Visit
from bookings.rules.transitions import WrongState
from bookings.rules.types import VisitState
from bookings.services import bookings, diary
from bookings.text import VISIT_STATE
from bookings.views import free_days

ACTOR = "rider, online"
_BEFORE_THE_WORK = {VisitState.PENCILLED, VisitState.CONFIRMED}
_COURSE = [state for state in VisitState if state not in {VisitState.CALLED_OFF, VisitState.MISSED}]

_CALENDAR_STATUS = {
    VisitState.PENCILLED: ics.Status.TENTATIVE,
    VisitState.CALLED_OFF: ics.Status.CANCELLED,
    VisitState.MISSED: ics.Status.CANCELLED,
}

View = Callable[..., HttpResponse]


@dataclass(frozen=True)
class Stage:
    """One stage of a visit: its word, when it was reached, and whether it is past, now or to come."""

    word: str
    reached_at: datetime | None
    place: str


def _private(view: Callable[..., HttpResponse]) -> View:
    """Open the visit a token stands for; every token that opens none gets the one same answer."""

    @wraps(view)
    def answer(request: HttpRequest, token: str) -> HttpResponse:
        visit = links.visit_of(token)
        if visit is None:
            raise Http404
        response = view(request, visit, token)
        # Not `no-referrer`: browsers then send “Origin: null” with a form, which looks like a forgery.
        # Nothing of the address reaches another site either way.
        response.headers.setdefault("Referrer-Policy", "same-origin")
        return response

    return answer


@require_safe
@_private
def visit_page(request: HttpRequest, visit: Visit, token: str) -> HttpResponse:
    """Everything a rider wants to know of a visit."""
    response = render(request, "bookings/public/visit.html", _context(request, visit, token))
    # This page sends no form, so its address need not even go to ourselves.
    response.headers["Referrer-Policy"] = "no-referrer"
    return response


def _context(request: HttpRequest, visit: Visit, token: str, **more: Any) -> dict[str, Any]:
    now = request.now  # type: ignore[attr-defined]
    state = VisitState(visit.state)
    early = state in _BEFORE_THE_WORK
    has_lapsed = state is VisitState.PENCILLED and visit.pencilled_until is not None and visit.pencilled_until < now
    last = visit.events.last()
    return {
        "visit": visit,
        "token": token,
        "job": Job.objects.filter(visit=visit).first(),
        "stages": _stages(visit, state) if state in _COURSE else [],
        "has_lapsed": has_lapsed or (last is not None and last.action == "lapsed"),
        "may_call_off": early and now < visit.starts_at,
        "may_move": early and free_days.soon_enough(visit.starts_at, now),
        "is_ahead": early and not has_lapsed,
        "has_coats": visit.bike.visits.filter(state=VisitState.COLLECTED).exists(),
        "bike_token": links.bike_token(visit.bike),
    } | more


def _stages(visit: Visit, state: VisitState) -> list[Stage]:
    words = {value: str(word) for value, word in VISIT_STATE}
    reached: dict[str, datetime] = {}
    for event in visit.events.all():
        if event.from_state != event.to_state:
            reached[event.to_state] = event.at
    here = _COURSE.index(state)
    places = ["past"] * here + ["now"] + ["ahead"] * (len(_COURSE) - here - 1)
    return [
        Stage(words[stage], reached.get(stage) if place != "ahead" else None, place)
        for stage, place in zip(_COURSE, places, strict=True)
    ]


@require_safe
@_private
def visit_calendar(request: HttpRequest, visit: Visit, token: str) -> HttpResponse:
    """The visit as a file for the rider's calendar; loading it again after a change replaces the entry.

    Identity and organiser are those of the invitations by mail, so that a calendar with both shows one entry.
    """
    shop = selectors.require_shop()
    what = {"tier": visit.tier.name, "shop": shop.name}
    facts = ics.InvitationFacts(
        method=ics.Method.PUBLISH,
        status=_CALENDAR_STATUS.get(VisitState(visit.state), ics.Status.CONFIRMED),
        uid=visit.calendar_uid,
        sequence=visit.calendar_sequence,
        stamp=visit.calendar_stamp,
        starts_at=visit.starts_at,
        ends_at=visit.work_until,
        summary=_("%(tier)s at %(shop)s") % what,
        description=_("Bring %(bike)s. The ready-by time is an estimate.") % {"bike": visit.bike},
        location=f"{shop.name}, {shop.address}",
        organizer_name=shop.name,
        organizer_email=parseaddr(settings.MAIL_FROM)[1],
        url=settings.PUBLIC_URL + reverse("public:visit", args=[token]),
    )
    response = HttpResponse(ics.invitation(facts), content_type="text/calendar; charset=utf-8; method=PUBLISH")
    response.headers["Content-Disposition"] = 'attachment; filename="visit.ics"'
    return response


@require_http_methods(["GET", "HEAD", "POST"])
@_private
def call_off(request: HttpRequest, visit: Visit, token: str) -> HttpResponse:
    """Ask once more, then call the visit off."""
    form = CallOffForm(request.POST if request.method == "POST" else None)
    context = _context(request, visit, token, form=form)
    if form.is_bound and not context["may_call_off"]:
        return _too_late(request, context)
    if form.is_valid():
        try:
            bookings.call_off(
                visit=visit,
                now=request.now,  # type: ignore[attr-defined]
                actor=ACTOR,
                reason=form.cleaned_data["reason"],
            )
        except WrongState:
            return _too_late(request, _context(request, _fresh(token), token))
        messages.success(request, _("Your visit has been called off and its time is free again."))
        return redirect("public:visit", token=token)
    return render(request, "bookings/public/call_off.html", context, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@_private
def move(request: HttpRequest, visit: Visit, token: str) -> HttpResponse:
    """Another time for the same work."""
    now = request.now  # type: ignore[attr-defined]
    context = _context(request, visit, token)
    if request.POST.get("start") == stamp(visit.starts_at):
        return redirect("public:visit", token=token)  # sent twice: it is there already
    if not context["may_move"]:
        return _too_late(request, context) if request.method == "POST" else redirect("public:visit", token=token)
    offered = free_days.for_visit(visit, now=now, from_day=free_days.asked_day(request.GET.get("from", "")))
    form = StartForm(request.POST if request.method == "POST" else None, free=offered.free, shown=offered.shown)
    context |= {"form": form, "offered": offered}
    if form.is_valid():
        try:
            bookings.move(
                visit=visit, start=form.cleaned_data["start"], now=now, actor=ACTOR, reason=_("asked for by the rider")
            )
        except WrongState:
            return _too_late(request, _context(request, _fresh(token), token))
        except diary.DiaryRefusal as refusal:
            form.add_error("start", str(refusal))
            return render(request, "bookings/public/move.html", context, status=409)
        messages.success(request, _("Your visit has been moved. The new time stands below."))
        return redirect("public:visit", token=token)
    return render(request, "bookings/public/move.html", context, status=422 if form.is_bound else 200)


def _fresh(token: str) -> Visit:
    visit = links.visit_of(token)
    if visit is None:
        raise Http404
    return visit


def _too_late(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    messages.error(request, _("This can no longer be changed online. Please ring us; nothing has been changed."))
    return render(request, "bookings/public/visit.html", context, status=409)
