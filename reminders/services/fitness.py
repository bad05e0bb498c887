"""Whether a notice still fits the facts at the moment it would be sent."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, tzinfo

from bookings import selectors as bookings
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


def reasons_to_drop(notices: Sequence[Notice], *, now: datetime) -> dict[int, str]:
    """Why notices should not be sent any more, in words for staff, by primary key; those that still fit are not in it.

    However many notices, a few queries: `visit` and `rider` come with each.
    """
    suppressed = selectors.suppressed_among({notice.recipient for notice in notices})
    agreeing = selectors.agreeing_among({notice.rider_id for notice in notices if notice.is_recall})
    zone = bookings.require_shop().zone
    found = {}
    for notice in notices:
        if notice.not_after is not None and now > notice.not_after:
            found[notice.pk] = "Its time had passed before it could be sent."
        elif why := suppressed.get(notice.recipient.lower()):
            found[notice.pk] = f"This address does not take our mail ({why}). Please ring the rider."
        elif notice.is_recall and notice.rider_id not in agreeing:
            found[notice.pk] = "The rider no longer wishes to be told before winter."
        elif misfit := _misfit_of(notice, zone):
            found[notice.pk] = misfit
    return found


def _misfit_of(notice: Notice, zone: tzinfo) -> str:
    if notice.kind == Kind.DUE_SOON and notice.bike:
        return _not_due(notice, notice.bike)
    return _misfit(notice, notice.visit, zone) if notice.visit else ""


def _not_due(notice: Notice, bike: Bike) -> str:
    if selectors.is_booked(bike):
        return "The bike is booked in already."
    if notice.round not in {selectors.coat_cycle(row) for row in selectors.coats_due(bike)}:
        return "The coat has been renewed since."
    return ""


def _misfit(notice: Notice, visit: Visit, zone: tzinfo) -> str:
    kind = Kind(notice.kind)
    if VisitState(visit.state) not in FITTING[kind]:
        return f"The visit is now: {visit.get_state_display()}."
    if kind in CALENDAR_KINDS and kind is not Kind.RECALL and notice.round != str(visit.calendar_sequence):
        return "The visit has changed since; a newer message tells of it."
    if kind is Kind.DAY_BEFORE and notice.round != visit.starts_at.astimezone(zone).date().isoformat():
        return "The visit has moved to another day."
    if kind is Kind.ALL_WELL and visit.return_asks.exists():
        return "The rider has told us already what is not right."
    return ""
