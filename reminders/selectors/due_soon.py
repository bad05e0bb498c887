"""Which bikes have a coat that comes due, with no winter ahead that speaks for itself."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from bookings import selectors as bookings
from bookings.models import Bike, Visit
from bookings.rules.transitions import ENDED
from reminders.models import CoatDue, Notice, Recall
from reminders.selectors.days import today
from reminders.selectors.recall import FRESH
from reminders.selectors.schedules import coats_due

# Longer overdue is no news: the rider has heard of it, or the records are older than this shop.
STILL_NEWS = timedelta(days=60)
# Who has just been asked about winter is not asked again, and no bike is spoken of more than twice a year.
AFTER_RECALL = timedelta(days=180)
BETWEEN_TWO = timedelta(days=180)


@dataclass(frozen=True)
class DueCase:
    """A bike and its coat that is due soonest."""

    bike: Bike
    row: CoatDue


def is_booked(bike: Bike) -> bool:
    """Whether a visit of the bike is ahead or under way."""
    return Visit.objects.filter(bike=bike).exclude(state__in=ENDED).exists()


def coat_cycle(row: CoatDue) -> str:
    """A coat is spoken of once, however often its estimate is made again."""
    return f"coat:{row.coat_id}"


def bikes_due(now: datetime) -> list[DueCase]:
    """Bikes with a coat likely due within the shop's lead and nothing booked, whoever has been told; soonest first."""
    return _cases(_rows(now), now)


def due_soon_cases(now: datetime) -> list[DueCase]:
    """Those of them that no word before winter speaks for, and that nobody has spoken of lately."""
    bike = OuterRef("schedule__bike")
    called = Recall.objects.filter(bike=bike, created_at__gt=now - AFTER_RECALL)
    told = Notice.objects.filter(bike=bike, kind=Notice.Kind.DUE_SOON, created_at__gt=now - BETWEEN_TWO)
    no_winter_ahead = Q(act_by__isnull=True) | Q(schedule__salt_from__lte=today(now))
    return _cases(_rows(now).filter(no_winter_ahead).exclude(Exists(called) | Exists(told)), now)


def _rows(now: datetime) -> QuerySet[CoatDue]:
    day = today(now)
    horizon = day + timedelta(days=bookings.require_shop().recall_lead_days)
    bike = OuterRef("schedule__bike")
    booked = Visit.objects.filter(bike=bike).exclude(state__in=ENDED)
    sold = Recall.objects.filter(bike=bike, answer=Recall.Answer.SOLD)
    due = CoatDue.objects.filter(due_likely__lte=horizon, due_likely__gte=day - STILL_NEWS)
    unspoken = due.exclude(Exists(booked) | Exists(sold))
    return unspoken.select_related("schedule__bike__rider", "coat").order_by("due_likely", "pk")


def _cases(rows: QuerySet[CoatDue], now: datetime) -> list[DueCase]:
    cases: dict[int, DueCase] = {}
    for row in rows:
        bike = row.schedule.bike
        if bike.pk not in cases and now - row.coat.applied_at >= FRESH and row in coats_due(bike):
            cases[bike.pk] = DueCase(bike, row)
    return list(cases.values())
