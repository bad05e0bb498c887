"""The search for free starts as anyone would write it first: every day, every quarter, every bay, every cell.

Wall-clock times are turned into instants by looking every quarter-hour up in the zone, not by `fold`, so that the
reading of skipped and repeated times is checked too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from bookings.rules.slots import Diary, Slot

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
QUARTER = timedelta(minutes=15)


@cache
def instant(day: date, wall: time, zone: ZoneInfo) -> datetime:
    """RFC 5545, 3.3.5: the first occurrence, or the offset before the gap. `wall` and offsets in whole quarters."""
    target = datetime.combine(day, wall)
    here = datetime.combine(day, wall, tzinfo=UTC) - timedelta(hours=15)
    before = here.astimezone(zone)
    for _ in range(4 * 30):
        local = here.astimezone(zone)
        if local.replace(tzinfo=None) == target:
            return here
        if local.replace(tzinfo=None) < target:
            before = local
        here += QUARTER
    offset = before.utcoffset()
    assert offset is not None
    return target.replace(tzinfo=UTC) - offset


def nested_loops(
    diary: Diary, busy: Mapping[int, Iterable[tuple[int, int]]], minutes: int, cure_minutes: int = 0
) -> list[Slot]:
    """As `free_starts`, cell by cell."""
    taken = {resource: {cell for a, b in spans for cell in range(a, b)} for resource, spans in busy.items()}
    need = -(-(minutes + cure_minutes) // 15)
    found = []
    for number in range(diary.days):
        day = diary.first_day + timedelta(days=number)
        if day in diary.closures:
            continue
        for opens, closes in diary.spans_on(day.weekday()):
            closing_day = day + timedelta(days=1) if closes == time(0) else day
            start = instant(day, opens, diary.zone)
            last_end = instant(closing_day, closes, diary.zone)
            while start + timedelta(minutes=minutes) <= last_end:
                cell = (start - EPOCH) // QUARTER
                for rank, resource in enumerate(busy):
                    if all(cell + step not in taken[resource] for step in range(need)):
                        found.append((start, rank, Slot(resource, start, start + timedelta(minutes=minutes))))
                start += QUARTER
    return [slot for _, _, slot in sorted(found)]
