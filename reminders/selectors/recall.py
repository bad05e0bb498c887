"""Which bikes are to be called back before the salt comes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef

from bookings import selectors as bookings
from bookings.models import Bike, Visit
from bookings.rules.transitions import ENDED
from reminders.models import CoatDue, Recall
from reminders.selectors.consent import agrees_to_recall, suppressed
from reminders.selectors.days import today
from reminders.selectors.schedules import coats_due

# A bike treated so shortly before is as ready for the winter as it can be.
FRESH = timedelta(days=60)


@dataclass(frozen=True)
class RecallCase:
    """A bike whose protection would not outlast the coming salt season, and the coat that says so."""

    bike: Bike
    worst: CoatDue
    season: str
    salt_from: date


def recall_cases(now: datetime) -> list[RecallCase]:
    """Bikes to be called back now: the notice day has come, the season has not, nothing is booked or said yet."""
    day = today(now)
    notice_before = day + timedelta(days=bookings.require_shop().recall_lead_days)
    booked = Visit.objects.filter(bike=OuterRef("schedule__bike")).exclude(state__in=ENDED)
    sold = Recall.objects.filter(bike=OuterRef("schedule__bike"), answer=Recall.Answer.SOLD)
    pressing = (
        CoatDue.objects.filter(act_by__lte=notice_before, schedule__salt_from__gt=day)
        .exclude(Exists(booked) | Exists(sold))
        .select_related("schedule__bike__rider", "coat")
        .order_by("act_by", "pk")
    )
    cases: dict[int, RecallCase] = {}
    for row in pressing:
        bike = row.schedule.bike
        if bike.pk not in cases and (case := _case(bike, row, now)):
            cases[bike.pk] = case
    return list(cases.values())


def _case(bike: Bike, row: CoatDue, now: datetime) -> RecallCase | None:
    schedule = row.schedule
    if schedule.salt_from is None or schedule.salt_to is None or now - row.coat.applied_at < FRESH:
        return None
    season = season_name(schedule.salt_from, schedule.salt_to)
    if Recall.objects.filter(bike=bike, season=season).exists():
        return None
    if row.pk not in {current.pk for current in coats_due(bike)}:
        return None  # a later visit has put something newer on that zone
    return RecallCase(bike, row, season, schedule.salt_from)


def season_name(salt_from: date, salt_to: date) -> str:
    """A winter's name: 2026-27, or 2026 where it lies within one year."""
    return f"{salt_from.year}-{salt_to.year % 100:02d}" if salt_to.year > salt_from.year else str(salt_from.year)


def recall_by_phone(now: datetime) -> list[RecallCase]:
    """Bikes due for recall whose riders said yes to a word before winter but cannot be mailed."""
    return [
        case
        for case in recall_cases(now)
        if agrees_to_recall(case.bike.rider) and (not case.bike.rider.email or suppressed(case.bike.rider.email))
    ]
