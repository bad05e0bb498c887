"""Free starts in the diary: one bit per quarter of an hour since the epoch in UTC, one big integer per resource.

Counting in UTC quarters makes days on which clocks change ordinary days of 92 or 100 quarters. Opening hours are
wall-clock times; one that a clock change skips or repeats is read as RFC 5545, 3.3.5 reads it: a skipped time with
the offset before the gap, a repeated time as its first occurrence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property, reduce
from itertools import islice
from operator import or_
from typing import NamedTuple
from zoneinfo import ZoneInfo

QUARTER_SECONDS = 900
MIDNIGHT = time(0)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ONE_DAY = timedelta(days=1)

Span = tuple[time, time]
Interval = tuple[int, int]


class Slot(NamedTuple):
    """A resource is free from `start` to `end` (UTC), inside opening hours."""

    resource: int
    start: datetime
    end: datetime


@dataclass(frozen=True)
class Diary:
    """The hours in which work may be done, from `first_day` on for `days` days.

    `opening` maps weekdays (0 = Monday) to one (open, close) pair or several; a weekday that is missing is closed,
    and so is every day in `closures`. Closing at 00:00 is midnight at the end of that day. Each pair stands alone:
    a job fits into one of them or not at all. Raises ValueError when a pair closes before it opens or pairs are out
    of order, and when no day is asked for.
    """

    opening: Mapping[int, tuple[Span, ...] | Span]
    closures: frozenset[date]
    zone: ZoneInfo
    first_day: date
    days: int

    def __post_init__(self) -> None:
        if self.days < 1:
            raise ValueError("a diary needs at least one day")
        for weekday in self.opening:
            earlier_close: time | None = MIDNIGHT
            for opens, closes in self.spans_on(weekday):
                if closes <= opens and closes != MIDNIGHT:
                    raise ValueError(f"weekday {weekday} closes at {closes} before it opens at {opens}")
                if earlier_close is None or opens < earlier_close:
                    raise ValueError(f"weekday {weekday} opens at {opens} while it is still open")
                earlier_close = None if closes == MIDNIGHT else closes

    def spans_on(self, weekday: int) -> tuple[Span, ...]:
        """Opening pairs of a weekday (0 = Monday), always as several."""
        spans = self.opening.get(weekday, ())
        return (spans,) if spans and isinstance(spans[0], time) else spans  # type: ignore[return-value]

    @cached_property
    def open_seconds(self) -> tuple[Interval, ...]:
        """Opening as half-open intervals of seconds since the epoch, in order of days."""
        # fold=0 reads a skipped or a repeated wall-clock time as RFC 5545 does.
        of_weekday = [
            [(opens.replace(fold=0), closes.replace(fold=0)) for opens, closes in self.spans_on(weekday)]
            for weekday in range(7)
        ]
        found = []
        for ordinal in range(self.first_day.toordinal(), self.first_day.toordinal() + self.days):
            day = date.fromordinal(ordinal)
            if day not in self.closures:
                for opens, closes in of_weekday[day.weekday()]:
                    last_day = date.fromordinal(ordinal + 1) if closes == MIDNIGHT else day
                    found.append((self._seconds(day, opens), self._seconds(last_day, closes)))
        return tuple(found)

    @cached_property
    def base_quarter(self) -> int:
        """The quarter since the epoch that bit 0 of every mask of this diary stands for."""
        return _floor(min((opens for opens, _ in self.open_seconds), default=0))

    def _seconds(self, day: date, wall: time) -> int:
        return int(datetime.combine(day, wall, self.zone).timestamp())


def quarters(start: datetime, end: datetime) -> range:
    """Quarter-hours since the epoch that [start, end) touches; both times aware."""
    return range(_floor(start.timestamp()), _ceil(end.timestamp()))


def free_starts(
    diary: Diary,
    busy: Mapping[int, Iterable[Interval]],
    minutes: int,
    not_before: datetime | None = None,
    limit: int | None = None,
    cure_minutes: int = 0,
) -> list[Slot]:
    """Every start at which `minutes` of work fit, earliest first, then in the order of `busy`.

    `busy` names every resource, with what occupies it as half-open, non-empty intervals of quarter-hours since the
    epoch. The resource stays taken for `cure_minutes` after the work, which may run past closing; the work may not.
    """
    free = free_masks(diary, busy, minutes, not_before, cure_minutes)
    return list(islice(_slots(free, diary.base_quarter, minutes), limit))


def free_masks(
    diary: Diary,
    busy: Mapping[int, Iterable[Interval]],
    minutes: int,
    not_before: datetime | None = None,
    cure_minutes: int = 0,
) -> dict[int, int]:
    """As `free_starts`, but one mask per resource: bit n is a start at quarter `diary.base_quarter` + n."""
    if minutes < 1 or cure_minutes < 0:
        raise ValueError("work takes at least one minute, and curing no less than none")
    base = diary.base_quarter
    wanted = _startable(diary, minutes * 60)
    if not_before is not None:
        too_early = max(0, _ceil(not_before.timestamp()) - base)
        wanted = wanted >> too_early << too_early
    held = _ceil((minutes + cure_minutes) * 60)
    return {resource: wanted & ~_blocked(intervals, base, held) for resource, intervals in busy.items()}


def blocking(begin: datetime, end: datetime, minutes: int) -> Interval:
    """Interval of quarters that keeps work of `minutes` off [begin, end) to the second, for `free_starts`.

    Where neither the length nor the busy time is a whole number of quarters, rounding both outwards would refuse
    starts that fit; this refuses only those from which the work would overlap.
    """
    last_free_start = _floor(begin.timestamp() - minutes * 60)
    return last_free_start + _ceil(minutes * 60), _ceil(end.timestamp())


def _startable(diary: Diary, work_seconds: int) -> int:
    """Bit per start from which the work ends within its own opening span."""
    mask = 0
    for opens, closes in diary.open_seconds:
        first = _ceil(opens)
        count = _floor(closes - work_seconds) + 1 - first
        if count > 0:
            mask |= ((1 << count) - 1) << (first - diary.base_quarter)
    return mask


def _blocked(intervals: Iterable[Interval], base: int, held: int) -> int:
    """Bit per start from which `held` quarters would run into an interval or begin within it."""
    mask = 0
    reach = base + held - 1
    for begin, end in intervals:
        first = begin - reach
        if first >= 0:
            mask |= ((1 << (end - base - first)) - 1) << first
        elif end > base:
            mask |= (1 << (end - base)) - 1
    return mask


def _slots(free: Mapping[int, int], base: int, minutes: int) -> Iterator[Slot]:
    """Set bits as slots: earliest first, then in the order of `free`."""
    # Finding digits in text is faster than peeling bits off a long integer, each of which copies it.
    length = timedelta(minutes=minutes)
    digits = {resource: bin(mask)[:1:-1] for resource, mask in free.items()}
    anywhere = bin(reduce(or_, free.values(), 0))[:1:-1]
    position = anywhere.find("1")
    while position >= 0:
        start = _EPOCH + timedelta(0, (base + position) * QUARTER_SECONDS)
        end = start + length
        for resource, text in digits.items():
            if text[position : position + 1] == "1":
                yield Slot(resource, start, end)
        position = anywhere.find("1", position + 1)


def _floor(seconds: float) -> int:
    return int(seconds // QUARTER_SECONDS)


def _ceil(seconds: float) -> int:
    return -int(-seconds // QUARTER_SECONDS)
