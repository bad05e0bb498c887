"""Stage two: a request gets a time, is confirmed, moved, called off or missed."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _

from bookings import selectors, signals
from bookings.models import BookingRequest, Tier, Visit, VisitEvent
from bookings.rules import transitions
from bookings.rules.durations import Estimate
from bookings.rules.transitions import Action
from bookings.rules.types import BikeKind, Condition, VisitState
from bookings.services import diary
from bookings.services.contention import transacted


@transacted
def pencil(
    *, request: BookingRequest, start: datetime, now: datetime, actor: str, hold_minutes: int | None = None
) -> Visit:
    """Hold the first free bay from `start` for the honest length of the job.

    The hold lapses after `hold_minutes` (the shop's own setting when None). A request that has its visit already
    gives that back. Raises SlotTaken when no bay is free for all of it.
    """
    request = BookingRequest.objects.select_for_update().get(pk=request.pk)
    if (known := Visit.objects.filter(request=request).first()) is not None:
        return known
    length = selectors.length_for(
        request.tier, BikeKind(request.bike.kind), Condition(request.condition_told), selectors.icy(start)
    )
    until = _held_until(now, hold_minutes, start)
    visit = Visit(
        request=request,
        bike=request.bike,
        tier=request.tier,
        state=VisitState.PENCILLED,
        pencilled_until=until,
        calendar_uid=f"visit-{request.submission_key}@rimebook",
        calendar_stamp=now,
        created_at=now,
        changed_at=now,
        **_timing(start, request.tier, length),
    )
    _place(visit, start=start, expires_at=until, now=now)
    note(visit, action="pencilled", before="", now=now, actor=actor, reason="")
    return visit


def _held_until(now: datetime, hold_minutes: int | None, start: datetime) -> datetime:
    """A hold never outlasts the start: a visit nobody has confirmed by then will not take place."""
    held = selectors.require_shop().pencil_hold_minutes if hold_minutes is None else hold_minutes
    return min(now + timedelta(minutes=held), start)


def _timing(start: datetime, tier: Tier, length: Estimate) -> dict[str, Any]:
    return {
        "starts_at": start,
        "promised_at": selectors.ready_from(tier, start, length.promised_minutes),
        "booked_minutes": length.promised_minutes,
        "usual_minutes": round(length.median_minutes),
        "length_reasons": [[words, round(factor, 3)] for words, factor in length.reasons],
    }


def _place(visit: Visit, *, start: datetime, expires_at: datetime | None, now: datetime) -> None:
    """Save the visit in the first bay that is free from `start`; raises SlotTaken, which ends the transaction."""
    if start < now:
        raise diary.SlotTaken(_("That time has passed."))
    if not selectors.is_open_for(start=start, minutes=visit.booked_minutes):
        raise diary.SlotTaken(_("The shop is not open for the whole of that time."))
    for bay in selectors.bays():
        visit.bay = bay
        visit.save()
        try:
            diary.take(visit=visit, start=start, minutes=visit.booked_minutes, expires_at=expires_at, now=now)
        except diary.SlotTaken:
            continue
        return
    raise diary.SlotTaken(_("Somebody else has just taken that time."))


def note(visit: Visit, *, action: str, before: str, now: datetime, actor: str, reason: str) -> VisitEvent:
    """Write the trail and tell listeners, all in the transaction of the change."""
    event = VisitEvent.objects.create(
        visit=visit, at=now, actor=actor, action=action, from_state=before, to_state=visit.state, reason=reason
    )
    signals.visit_changed.send(Visit, visit=visit, event=event, now=now)
    return event


def locked(visit: Visit) -> Visit:
    """The visit as the database has it, locked first of all rows."""
    return Visit.objects.select_for_update(of=("self",)).select_related("bike__rider", "tier", "bay").get(pk=visit.pk)


def advance(
    visit: Visit, action: Action, *, now: datetime, actor: str, reason: str = "", tells_calendars: bool = False
) -> Visit:
    """Take `action` on a locked visit: state, trail and listeners. Raises WrongState."""
    before = visit.state
    visit.state = transitions.after(VisitState(before), action)
    visit.changed_at = now
    if tells_calendars:
        visit.calendar_sequence += 1
        visit.calendar_stamp = now
    visit.save()
    note(visit, action=action, before=before, now=now, actor=actor, reason=reason)
    return visit


@transacted
def confirm(*, visit: Visit, now: datetime, actor: str, reason: str = "") -> Visit:
    """Make a pencilled visit firm. Raises WrongState or HoldLapsed."""
    visit = locked(visit)
    transitions.after(VisitState(visit.state), Action.CONFIRM)
    diary.make_firm(visit=visit, now=now)
    visit.pencilled_until = None
    return advance(visit, Action.CONFIRM, now=now, actor=actor, reason=reason, tells_calendars=True)


@transacted
def move(*, visit: Visit, start: datetime, now: datetime, actor: str, reason: str) -> Visit:
    """Give a visit another time of the same length; a pencilled one is held afresh.

    Raises WrongState or SlotTaken, and then nothing has changed.
    """
    visit = locked(visit)
    transitions.after(VisitState(visit.state), Action.MOVE)
    diary.lock_days(
        [
            *diary.quarters(visit.starts_at, visit.work_until),
            *diary.quarters(start, start + timedelta(minutes=visit.booked_minutes)),
        ]
    )
    diary.let_go(visit=visit)
    if visit.pencilled_until is not None:
        # A hold that has lapsed already would be anybody's to take again at once.
        visit.pencilled_until = max(min(visit.pencilled_until, start), _held_until(now, None, start))
    visit.starts_at = start
    visit.promised_at = selectors.ready_from(visit.tier, start, visit.booked_minutes)
    _place(visit, start=start, expires_at=visit.pencilled_until, now=now)
    return advance(visit, Action.MOVE, now=now, actor=actor, reason=reason, tells_calendars=True)


@transacted
def call_off(*, visit: Visit, now: datetime, actor: str, reason: str) -> Visit:
    """End a visit before the work and free its time. Raises WrongState."""
    return _end(locked(visit), Action.CALL_OFF, now=now, actor=actor, reason=reason)


@transacted
def miss(*, visit: Visit, now: datetime, actor: str, reason: str = "") -> Visit:
    """Note that the bike did not come. Raises WrongState, also before the visit was to begin."""
    visit = locked(visit)
    if now < visit.starts_at:
        raise transitions.WrongState(_("This visit is still to come, so it cannot have been missed."))
    return _end(visit, Action.MISS, now=now, actor=actor, reason=reason)


def lapse_holds(*, now: datetime) -> int:
    """Let go of every pencilled visit nobody confirmed in time; gives how many."""
    over = Visit.objects.filter(state=VisitState.PENCILLED, pencilled_until__lt=now).order_by("pk")
    return sum(_lapse(visit, now) for visit in over)


@transacted
def _lapse(visit: Visit, now: datetime) -> bool:
    visit = locked(visit)
    # Somebody may have confirmed or called it off since the list was read.
    if visit.state != VisitState.PENCILLED or visit.pencilled_until is None or visit.pencilled_until >= now:
        return False
    _end(visit, Action.LAPSE, now=now, actor="Rimebook", reason="not confirmed in time")
    return True


def _end(visit: Visit, action: Action, *, now: datetime, actor: str, reason: str) -> Visit:
    transitions.after(VisitState(visit.state), action)
    diary.let_go(visit=visit)
    return advance(visit, action, now=now, actor=actor, reason=reason, tells_calendars=True)


@transacted
def note_reply(*, visit: Visit, reply: str, sequence: int, now: datetime, actor: str) -> bool:
    """Keep what the rider's calendar answered; False when it answers an older invitation.

    A reply can be forged, so it is a hint for staff and never changes the visit by itself.
    """
    visit = locked(visit)
    if sequence != visit.calendar_sequence:
        return False
    visit.rider_reply = reply
    visit.save(update_fields=["rider_reply"])
    note(visit, action="replied", before=visit.state, now=now, actor=actor, reason=reply)
    return True
