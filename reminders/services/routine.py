"""What is owed by the calendar alone: whether all is well, a coat that comes due, the day ahead to ourselves."""

from __future__ import annotations

import hashlib
from datetime import datetime, time, timedelta

from bookings import selectors as bookings
from bookings.models import Shop, Visit
from bookings.rules.types import VisitState
from reminders import selectors
from reminders.models import Notice
from reminders.selectors import DueCase
from reminders.services.outbox import owe
from reminders.timing import ONE_DAY, send_instant

Kind = Notice.Kind
ALL_WELL_AT = time(11, 0)
# After a longer standstill a question about how it went would only puzzle.
STILL_FRESH = timedelta(days=7)
WORTH_READING = timedelta(days=14)
DUE_WORTH_READING = timedelta(days=30)
MORNING_LASTS = timedelta(hours=6)


def owe_all_well(*, now: datetime) -> int:
    """Owe the question whether all is well, some days after each bike went home."""
    days = bookings.require_shop().all_well_after_days
    if days is None:
        return 0
    wait = timedelta(days=days)
    home = Visit.objects.filter(
        state=VisitState.COLLECTED,
        job__collected_at__gt=now - wait - STILL_FRESH,
        job__collected_at__lte=now - wait + ONE_DAY,
    )
    asked = Notice.objects.filter(kind=Kind.ALL_WELL).values("visit")
    unasked = home.exclude(pk__in=asked).filter(return_asks__isnull=True)
    return sum(_owe_all_well(visit, wait, now) for visit in unasked.select_related("bike__rider", "job"))


def _owe_all_well(visit: Visit, wait: timedelta, now: datetime) -> bool:
    assert visit.job.collected_at is not None
    day = selectors.today(visit.job.collected_at) + wait
    due_at = send_instant(day, ALL_WELL_AT, selectors.quiet_hours())
    return bool(
        owe(
            kind=Kind.ALL_WELL,
            rider=visit.bike.rider,
            subject_key=f"visit:{visit.pk}",
            cycle="1",
            due_at=due_at,
            not_after=due_at + WORTH_READING,
            now=now,
            bike=visit.bike,
            visit=visit,
        )
    )


def owe_due_soon(*, now: datetime) -> int:
    """Owe a word about each bike whose coat comes due, if its rider has agreed to such mail."""
    return sum(_owe_due_soon(case, now) for case in selectors.due_soon_cases(now))


def _owe_due_soon(case: DueCase, now: datetime) -> bool:
    rider = case.bike.rider
    if not selectors.agrees_to_recall(rider) or selectors.suppressed(rider.email):
        return False
    due_at = selectors.quiet_hours().after(now)
    return bool(
        owe(
            kind=Kind.DUE_SOON,
            rider=rider,
            subject_key=f"bike:{case.bike.pk}",
            cycle=selectors.coat_cycle(case.row),
            due_at=due_at,
            not_after=due_at + DUE_WORTH_READING,
            now=now,
            bike=case.bike,
        )
    )


def owe_morning(*, now: datetime) -> int:
    """Owe the day ahead to each of the shop's own addresses, once a morning; a morning long past is let go."""
    shop = bookings.require_shop()
    if shop.morning_mail_at is None:
        return 0
    day = selectors.today(now)
    due_at = datetime.combine(day, shop.morning_mail_at, shop.zone)
    if not due_at <= now <= due_at + MORNING_LASTS:
        return 0
    owed = [
        owe(
            kind=Kind.MORNING,
            rider=None,
            recipient=address,
            subject_key=f"desk:{hashlib.sha256(address.lower().encode()).hexdigest()[:16]}",
            cycle=day.isoformat(),
            due_at=due_at,
            not_after=due_at + MORNING_LASTS,
            now=now,
        )
        for address in own_addresses(shop)
    ]
    return sum(notice is not None for notice in owed)


def own_addresses(shop: Shop) -> list[str]:
    """The shop's own address and those it has added, each once."""
    given = [shop.email, *(address.strip() for address in shop.morning_mail_also_to.split(","))]
    # Of two that differ in case only, the first.
    return list({address.lower(): address for address in reversed(given) if address}.values())[::-1]
