"""The bit-mask search gives the very answers of the nested loops, in any zone and on any day."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from bookings.rules.slots import Diary, blocking, free_starts
from tests.properties.slots_reference import EPOCH, QUARTER, nested_loops

# Clock-change weeks of both hemispheres, a half-hour change, zones a quarter or half an hour off, and one that
# skipped a whole day. Dates from the IANA time zone database as shipped by tzdata.
WEEKS = {
    "Europe/Berlin": [date(2026, 3, 27), date(2026, 10, 23)],
    "America/St_Johns": [date(2026, 3, 6), date(2026, 10, 30)],
    "Australia/Lord_Howe": [date(2026, 4, 3), date(2026, 10, 2)],
    "America/Santiago": [date(2026, 4, 3), date(2026, 9, 4)],
    "Asia/Kathmandu": [date(2026, 2, 27)],
    "Pacific/Chatham": [date(2026, 4, 3), date(2026, 9, 25)],
    "Pacific/Apia": [date(2011, 12, 28)],
    "UTC": [date(2028, 2, 27)],
}


def wall(quarter: int) -> time:
    return time(quarter // 4, quarter % 4 * 15) if quarter < 96 else time(0)


@st.composite
def spans(draw: st.DrawFn) -> tuple[tuple[time, time], ...]:
    edges = sorted(draw(st.sets(st.integers(0, 96), min_size=2, max_size=4)))
    return tuple((wall(a), wall(b)) for a, b in zip(edges[::2], edges[1::2], strict=False))


@st.composite
def diaries(draw: st.DrawFn) -> Diary:
    name, first_day = draw(st.sampled_from([(name, day) for name, days in WEEKS.items() for day in days]))
    days = draw(st.integers(1, 5))
    return Diary(
        opening=draw(st.dictionaries(st.integers(0, 6), spans(), min_size=3)),
        closures=frozenset(draw(st.sets(st.integers(0, days).map(lambda n: first_day + timedelta(n)), max_size=2))),
        zone=ZoneInfo(name),
        first_day=first_day,
        days=days,
    )


@st.composite
def busy_bays(draw: st.DrawFn, diary: Diary) -> dict[int, list[tuple[int, int]]]:
    first = int(datetime.combine(diary.first_day, time(0), tzinfo=UTC).timestamp()) // 900 - 60
    interval = st.builds(lambda a, n: (first + a, first + a + n), st.integers(0, 96 * 6), st.integers(1, 40))
    return {bay: draw(st.lists(interval, max_size=12)) for bay in range(1, draw(st.integers(1, 3)) + 1)}


@given(st.data(), diaries(), st.integers(1, 600), st.sampled_from([0, 0, 30, 200]))
def test_same_answers_as_nested_loops(data: Any, diary: Diary, minutes: int, cure_minutes: int) -> None:
    busy = data.draw(busy_bays(diary))
    expected = nested_loops(diary, busy, minutes, cure_minutes)
    assert free_starts(diary, busy, minutes, cure_minutes=cure_minutes) == expected


@given(st.data(), diaries(), st.integers(1, 300))
def test_limit_and_not_before_only_cut_the_list(data: Any, diary: Diary, minutes: int) -> None:
    busy = data.draw(busy_bays(diary))
    everything = free_starts(diary, busy, minutes)
    limit = data.draw(st.integers(0, 30))
    not_before = datetime.combine(diary.first_day, time(0), tzinfo=UTC) + timedelta(
        seconds=data.draw(st.integers(-90_000, 6 * 86_400))
    )
    later = [slot for slot in everything if slot.start >= not_before]
    assert free_starts(diary, busy, minutes, not_before=not_before, limit=limit) == later[:limit]


@given(st.data(), diaries(), st.integers(1, 300))
@settings(max_examples=60)
def test_busy_times_off_the_grid_block_only_what_they_overlap(data: Any, diary: Diary, minutes: int) -> None:
    midnight = datetime.combine(diary.first_day, time(0), tzinfo=UTC)
    seconds = st.builds(
        lambda a, n: (midnight + timedelta(seconds=a), midnight + timedelta(seconds=a + n)),
        st.integers(-50_000, 500_000),
        st.integers(1, 20_000),
    )
    taken = data.draw(st.lists(seconds, max_size=8))
    found = free_starts(diary, {1: [blocking(begin, end, minutes) for begin, end in taken]}, minutes)
    expected = [
        slot
        for slot in nested_loops(diary, {1: []}, minutes)
        if not any(begin < slot.end and slot.start < end for begin, end in taken)
    ]
    assert found == expected


@given(st.data(), diaries(), st.integers(15, 300))
@settings(max_examples=60)
def test_taking_a_slot_takes_away_only_slots_that_overlap_it(data: Any, diary: Diary, minutes: int) -> None:
    busy = data.draw(busy_bays(diary))
    before = free_starts(diary, busy, minutes)
    if not before:
        return
    taken = data.draw(st.sampled_from(before))
    cells = ((taken.start - EPOCH) // QUARTER, -((EPOCH - taken.end) // QUARTER))
    after = free_starts(diary, busy | {taken.resource: [*busy[taken.resource], cells]}, minutes)
    held = timedelta(minutes=-(-minutes // 15) * 15)
    assert after == [
        slot for slot in before if slot.resource != taken.resource or abs(slot.start - taken.start) >= held
    ]
