"""Whether a notice still fits the facts at the moment it would be sent."""

from __future__ import annotations

from datetime import datetime

from bookings.models import Bike, Visit
from bookings.rules.types import VisitState
from reminders import selectors
from reminders.models import Notice
from reminders.services.outbox import CALENDAR_KINDS

Kind = Notice.Kind
FITTING = {
    Kind.PENCILLED: {VisitState.PENCILLED},
    Kind.CONFIRMED: {VisitState.CONFIRMED},
    Kind.CHANGED: {VisitState.PENCILLED, VisitState.CONFIRMED},
    Kind.CALLED_OFF: {VisitState.CALLED_OFF, VisitState.MISSED},
    Kind.DAY_BEFORE: {VisitState.CONFIRMED},
    Kind.READY: {VisitState.READY},
    Kind.CARE_SHEET: {VisitState.COLLECTED},
    Kind.RECALL: {VisitState.PENCILLED},
    Kind.ALL_WELL: {VisitState.COLLECTED},
}


def reason_to_drop(notice: Notice, *, now: datetime) -> str:
    """Why the notice should not be sent any more, in words for staff; empty when it still fits."""
    if notice.not_after is not None and now > notice.not_after:
        return "Its time had passed before it could be sent."
    if reason := selectors.suppressed(notice.recipient):
        return f"This address does not take our mail ({reason}). Please ring the rider."
    if notice.is_recall and not (notice.rider and selectors.agrees_to_recall(notice.rider)):
        return "The rider no longer wishes to be told before winter."
    if notice.kind == Kind.DUE_SOON and notice.bike:
        return _not_due(notice, notice.bike)
    return _misfit(notice, notice.visit) if notice.visit else ""


def _not_due(notice: Notice, bike: Bike) -> str:
    if selectors.is_booked(bike):
        return "The bike is booked in already."
    if notice.cycle not in {selectors.coat_cycle(row) for row in selectors.coats_due(bike)}:
        return "The coat has been renewed since."
    return ""


def _misfit(notice: Notice, visit: Visit) -> str:
    kind = Kind(notice.kind)
    if VisitState(visit.state) not in FITTING[kind]:
        return f"The visit is now: {visit.get_state_display()}."
    if kind in CALENDAR_KINDS and kind is not Kind.RECALL and notice.cycle != str(visit.calendar_sequence):
        return "The visit has changed since; a newer message tells of it."
    if kind is Kind.DAY_BEFORE and notice.cycle != selectors.start_day(visit).isoformat():
        return "The visit has moved to another day."
    if kind is Kind.ALL_WELL and visit.return_asks.exists():
        return "The rider has told us already what is not right."
    return ""
