"""Claims on quarter-hours: the database refuses a double booking, whatever the code above believes.

Every writer locks in one order: the visit, then the days by date, then claims ascending. Two inserts that cross
would otherwise wait for each other.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from django.db import connection, transaction

from bookings.models import Claim, DiaryDay, Visit
from bookings.rules.slots import QUARTER_SECONDS, quarters

# Takes free quarters and those whose hold has lapsed in one statement; a firm or living claim stays as it is,
# and is then missing among the returned rows. The same text runs on PostgreSQL and on SQLite 3.35 or newer.
_TAKE = """
INSERT INTO bookings_claim (bay_id, quarter, visit_id, closure_id, expires_at) VALUES {rows}
ON CONFLICT (bay_id, quarter) DO UPDATE
SET visit_id = excluded.visit_id, closure_id = excluded.closure_id, expires_at = excluded.expires_at
WHERE bookings_claim.expires_at < %s
RETURNING quarter
"""


class DiaryRefusal(Exception):
    """The diary says no; the message is for people."""


class SlotTaken(DiaryRefusal):
    """Somebody else has the time, or part of it."""


class HoldLapsed(DiaryRefusal):
    """The time was let go because nobody confirmed it."""


def lock_days(quarter_range: Iterable[int]) -> None:
    """Take the day rows these quarters lie in, by date; SQLite already holds its one write lock."""
    days = sorted({datetime.fromtimestamp(quarter * QUARTER_SECONDS, UTC).date() for quarter in quarter_range})
    DiaryDay.objects.bulk_create([DiaryDay(day=day) for day in days], ignore_conflicts=True)
    list(DiaryDay.objects.select_for_update().filter(day__in=days).order_by("day"))


def take(*, visit: Visit, start: datetime, minutes: int, expires_at: datetime | None, now: datetime) -> None:
    """Claim `visit.bay` from `start` for `minutes`, all of it or nothing.

    Raises SlotTaken. Must run inside a transaction.
    """
    wanted = list(quarters(start, start + timedelta(minutes=minutes)))
    lock_days(wanted)
    adapt = connection.ops.adapt_datetimefield_value
    expiry = adapt(expires_at) if expires_at else None
    parameters: list[int | str | datetime | None] = []
    for quarter in wanted:
        parameters += [visit.bay_id, quarter, visit.pk, None, expiry]
    statement = _TAKE.format(rows=", ".join(["(%s, %s, %s, %s, %s)"] * len(wanted)))
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, [*parameters, adapt(now)])
        if len(cursor.fetchall()) != len(wanted):
            raise SlotTaken("Somebody else has just taken that time.")


def make_firm(*, visit: Visit, now: datetime) -> None:
    """Turn a living hold into a firm claim; raises HoldLapsed when any quarter of it has gone."""
    wanted = quarters(visit.starts_at, visit.work_until)
    lock_days(wanted)
    if Claim.objects.filter(visit=visit, expires_at__gte=now).update(expires_at=None) != len(wanted):
        raise HoldLapsed("The time was held for a while and has been let go. Please choose a new one.")


def let_go(*, visit: Visit) -> None:
    """Free everything a visit holds, under the same day locks as taking: two that cross would wait for each other."""
    held = Claim.objects.filter(visit=visit)
    lock_days(held.values_list("quarter", flat=True))
    held.delete()
