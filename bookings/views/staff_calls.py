"""The phone desk: find the caller, offer a time that is really free, hold or confirm it, read it back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from bookings import selectors
from bookings.forms.calls import CallForm, NewCallForm
from bookings.models import Bike, BookingRequest, Visit
from bookings.rules.types import BikeKind, Condition, VisitState
from bookings.services import bookings, requests
from bookings.views import free_days
from bookings.views.free_days import FreeDays
from bookings.views.staff_door import REFUSALS, actor, found_visit, in_words, local, moment_of, staff_page

WITHOUT_NOTICE = 0
# A caller on the line keeps no more than three days in mind.
DAYS_OFFERED = 3


@dataclass(frozen=True)
class FullDay:
    """A day before the last one offered on which the job does not fit, and why."""

    day: date
    reason: str


@require_safe
@staff_page
def desk(request: HttpRequest) -> HttpResponse:
    """One box that finds a rider by any part of name, number, registration or bike."""
    typed = request.GET.get("q", "").replace("\x00", "").strip()
    found = selectors.find(typed)
    # One caller with one bike: the times are worth showing at once.
    if len(found) == 1 and len(bikes := list(found[0].bikes.all())) == 1 and "list" not in request.GET:
        return _page(request, bikes[0], _blank(request, bikes[0], {}), typed=typed)
    context = {"typed": typed, "found": found, "too_short": len(typed) == 1, "new": _guess(typed)}
    return render(request, "bookings/staff/desk.html", context)


def _guess(typed: str) -> dict[str, str]:
    """What was typed into the search box, put where it most likely belongs on the form for a new caller."""
    if not typed:
        return {}
    digits = sum(character.isdigit() for character in typed)
    return {"phone": typed} if digits > len(typed) / 2 else {"name": typed}


@require_http_methods(["GET", "HEAD", "POST"])
@staff_page
def book(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """Book a known bike, or without one a new caller's; asking for times again keeps everything typed."""
    bike = get_object_or_404(Bike.objects.select_related("rider"), pk=pk) if pk is not None else None
    if request.method != "POST":
        return _page(request, bike, _blank(request, bike, request.GET))
    wish = request.POST.get("do", "times")
    if wish not in {"pencil", "confirm"}:
        return _page(request, bike, _blank(request, bike, request.POST, later=wish == "later"))
    form, offer = _form(request, bike, request.POST)
    if not form.is_valid():
        return _page(request, bike, (form, offer), status=422)
    try:
        visit = _taken(request, bike, form, firm=wish == "confirm")
    except REFUSALS as refusal:
        form, offer = _form(request, bike, request.POST)
        form.full_clean()
        for words in in_words(refusal):
            form.add_error("start", words)
        return _page(request, bike, (form, offer), status=409)
    _say(request, visit, form.cleaned_data["start"])
    return redirect("staff:read-back", pk=visit.pk)


def _say(request: HttpRequest, visit: Visit, wanted: datetime) -> None:
    done = {VisitState.PENCILLED: _("The time is held."), VisitState.CONFIRMED: _("The visit is confirmed.")}
    words = done.get(VisitState(visit.state))
    if words and visit.starts_at == wanted:
        messages.success(request, words)
    else:
        # Sent again after going back: the form has made its visit already, and a second one would be a double.
        messages.warning(request, _("This form was sent before. Here is the visit it made; nothing new was booked."))


def _taken(request: HttpRequest, bike: Bike | None, form: CallForm, *, firm: bool) -> Visit:
    """Request and visit together or not at all: a time that has gone leaves no half-made booking behind."""
    facts, now = form.cleaned_data, moment_of(request)
    with transaction.atomic():
        received = requests.receive(
            submission_key=facts["submission_key"],
            source=BookingRequest.Source.PHONE,
            tier=get_object_or_404(selectors.tiers(), code=facts["tier"]),
            rider=None if bike else _rider(form),
            bike=bike or _bike(facts),
            condition=Condition(facts["condition"]),
            remarks=facts["remarks"],
            recall_agreed=facts["recall_agreed"],
            taken_by=actor(request),
            now=now,
        )
        visit = bookings.pencil(request=received, start=facts["start"], now=now, actor=actor(request))
        if firm and visit.state == VisitState.PENCILLED and visit.starts_at == facts["start"]:
            visit = bookings.confirm(visit=visit, now=now, actor=actor(request), reason=_("agreed on the phone"))
    return visit


def _rider(form: CallForm) -> requests.RiderFacts:
    assert isinstance(form, NewCallForm)
    facts = form.cleaned_data
    return requests.RiderFacts(name=facts["name"], email=facts["email"], phone_e164=form.phone_e164)


def _bike(facts: Mapping[str, Any]) -> requests.BikeFacts:
    return requests.BikeFacts(
        description=facts["description"], registration=facts["registration"], kind=BikeKind(facts["kind"])
    )


Offered = tuple[CallForm, FreeDays | None]


def _blank(request: HttpRequest, bike: Bike | None, typed: Mapping[str, Any], *, later: bool = False) -> Offered:
    """The form as typed so far, without complaints about what is still missing."""
    initial = {name: typed[name] for name in typed if typed[name]}
    if "tier" not in initial:
        last = bike.visits.order_by("-starts_at").first() if bike else None
        first = selectors.tiers().first()
        chosen = last.tier if last and last.tier.offered else first
        initial["tier"] = chosen.code if chosen else ""
    initial.setdefault("condition", Condition.DIRTY.value)
    initial.setdefault("kind", BikeKind.BARE.value)
    # A form drawn anew is the same booking still, so it keeps its key.
    initial.setdefault("submission_key", str(uuid4()))
    offer = _offer(request, bike, initial)
    if later and offer and offer.next_day:
        initial["from_day"] = offer.next_day.isoformat()
        offer = _offer(request, bike, initial)
    if offer and offer.shown and initial.get("start") not in _stamps(offer):
        initial["start"] = offer.shown[0][1][0][0]
    form, offer = _form(request, bike, None, initial, offer)
    # The cursor waits where the caller's answer goes: the time of a bike we know, the name of one we don't.
    cursor = "start" if bike or request.method == "POST" else "name"
    form.fields[cursor].widget.attrs["autofocus"] = True
    return form, offer


def _stamps(offer: FreeDays) -> set[str]:
    return {value for _day, times in offer.shown for value, _words in times}


def _form(
    request: HttpRequest,
    bike: Bike | None,
    data: Any,
    initial: Mapping[str, Any] | None = None,
    offer: FreeDays | None = None,
) -> Offered:
    offer = offer or _offer(request, bike, data or {})
    times: dict[str, Any] = {"free": offer.free if offer else [], "shown": offer.shown if offer else []}
    if bike is not None:
        return CallForm(data, initial=initial, **times), offer
    region = selectors.require_shop().phone_region
    return NewCallForm(data, initial=initial, region=region, **times), offer


def _offer(request: HttpRequest, bike: Bike | None, typed: Mapping[str, Any]) -> FreeDays | None:
    """Free times for what is typed so far; None when that is not enough to tell a length."""
    tier = next((tier for tier in selectors.tiers() if tier.code == typed.get("tier")), None)
    try:
        kind = BikeKind(bike.kind if bike else typed.get("kind", ""))
        condition = Condition(typed.get("condition", ""))
    except ValueError:
        return None
    if tier is None:
        return None
    offer = free_days.for_job(
        tier=tier,
        kind=kind,
        condition=condition,
        now=moment_of(request),
        from_day=free_days.asked_day(str(typed.get("from_day", ""))),
        notice_minutes=WITHOUT_NOTICE,
    )
    return _shortened(offer)


def _shortened(offer: FreeDays) -> FreeDays:
    if len(offer.shown) <= DAYS_OFFERED:
        return offer
    return replace(offer, shown=offer.shown[:DAYS_OFFERED], next_day=_day_of(offer.shown[DAYS_OFFERED]))


def _day_of(group: tuple[str, list[tuple[str, str]]]) -> date:
    return local(datetime.fromisoformat(group[1][0][0])).date()


def _page(
    request: HttpRequest, bike: Bike | None, offered: Offered, *, status: int = 200, typed: str = ""
) -> HttpResponse:
    form, offer = offered
    action = reverse("staff:book", args=[bike.pk]) if bike else reverse("staff:book-new")
    context = {
        "bike": bike,
        "last": bike.visits.select_related("tier").order_by("-starts_at").first() if bike else None,
        "form": form,
        "offer": offer,
        "full_days": _full_days(request, form, offer),
        "action": action,
        "typed": typed,
    }
    return render(request, "bookings/staff/book.html", context, status=status)


def _full_days(request: HttpRequest, form: CallForm, offer: FreeDays | None) -> list[FullDay]:
    """Days up to the last one shown on which nothing fits, each with its reason."""
    if not offer or not offer.free:
        return []
    now = moment_of(request)
    today = local(now).date()
    first = max(today, free_days.asked_day(str(form["from_day"].value() or "")) or today)
    fitting = {local(start).date() for start in offer.free}
    last = _day_of(offer.shown[-1])
    rows = selectors.room(first_day=first, days=(last - first).days + 1, now=now)
    return [_full_day(row, today) for row in rows if row.day not in fitting]


def _full_day(row: selectors.DayRoom, today: date) -> FullDay:
    if row.closed_because:
        return FullDay(row.day, _("closed: %(reason)s") % {"reason": row.closed_because})
    if row.day == today:
        return FullDay(row.day, _("not enough of the day is left"))
    return FullDay(row.day, _("no gap long enough"))


@require_safe
@staff_page
def read_back(request: HttpRequest, pk: int) -> HttpResponse:
    """The booking as a sentence to read to the caller, and what can still be done about it."""
    visit: Visit = found_visit(pk)
    return render(request, "bookings/staff/read_back.html", {"visit": visit})
