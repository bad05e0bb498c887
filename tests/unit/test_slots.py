"""Closed cases of the search for free starts."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from bookings.rules.slots import Diary, free_starts, quarters

LONDON = ZoneInfo("Europe/London")
BERLIN = ZoneInfo("Europe/Berlin")
EVERY_DAY = {weekday: (time(8), time(18)) for weekday in range(7)}
MONDAY = date(2026, 9, 7)


def diary(opening: object = EVERY_DAY, first_day: date = MONDAY, days: int = 1, **fields: object) -> Diary:
    settled = {"closures": frozenset(), "zone": LONDON} | fields
    return Diary(opening=opening, first_day=first_day, days=days, **settled)  # type: ignore[arg-type]


def local_starts(found: list, zone: ZoneInfo = LONDON) -> list[str]:
    return [slot.start.astimezone(zone).strftime("%d %H:%M") for slot in found]


def cells(zone: ZoneInfo, first: tuple[int, ...], last: tuple[int, ...]) -> tuple[int, int]:
    covered = quarters(datetime(*first, tzinfo=zone), datetime(*last, tzinfo=zone))  # type: ignore[arg-type,misc]
    return covered.start, covered.stop


def test_last_start_ends_exactly_at_closing() -> None:
    found = free_starts(diary(), {1: []}, 240)
    assert (local_starts(found)[0], local_starts(found)[-1], len(found)) == ("07 08:00", "07 14:00", 25)
    assert found[-1].end == datetime(2026, 9, 7, 17, tzinfo=UTC)


def test_work_may_touch_busy_times_but_not_overlap_them() -> None:
    busy = {1: [cells(LONDON, (2026, 9, 7, 10), (2026, 9, 7, 16))]}
    assert local_starts(free_starts(diary(), busy, 120)) == ["07 08:00", "07 16:00"]


def test_earliest_first_then_in_the_order_of_resources() -> None:
    found = free_starts(diary(), {7: [], 3: []}, 600)
    assert [slot.resource for slot in found] == [7, 3]


def test_closed_days_and_weekdays_offer_nothing() -> None:
    weekdays = {weekday: (time(8), time(9)) for weekday in range(5)}
    found = free_starts(diary(weekdays, days=7, closures=frozenset({MONDAY})), {1: []}, 60)
    assert local_starts(found) == ["08 08:00", "09 08:00", "10 08:00", "11 08:00"]


def test_never_open_or_no_bay_is_an_empty_answer() -> None:
    assert free_starts(diary({}), {1: []}, 60) == []
    assert free_starts(diary(), {}, 60) == []


def test_a_job_does_not_run_over_the_midday_break_nor_over_midnight() -> None:
    broken = {0: ((time(8), time(12)), (time(13), time(0))), 1: ((time(0), time(8)),)}
    found = free_starts(diary(broken, days=2), {1: []}, 240)
    assert local_starts(found)[:2] == ["07 08:00", "07 13:00"]
    assert local_starts(found)[-17:-15] == ["08 00:00", "08 00:15"]
    assert not [start for start in local_starts(found) if "07 20:00" < start < "08 00:00"]


@pytest.mark.parametrize(("day", "quarter_hours"), [(date(2026, 3, 29), 92), (date(2026, 10, 25), 100)])
def test_days_of_23_and_25_hours(day: date, quarter_hours: int) -> None:
    """EU summer time begins on the last Sunday of March and ends on that of October (Directive 2000/84/EC)."""
    around_the_clock = {weekday: (time(0), time(0)) for weekday in range(7)}
    found = free_starts(diary(around_the_clock, day, zone=BERLIN), {1: []}, 15)
    assert len(found) == quarter_hours
    assert len(set(found)) == quarter_hours


def test_a_night_job_over_the_change_takes_its_real_hours() -> None:
    night = {6: (time(1), time(5))}
    spring = diary(night, date(2026, 3, 29), zone=BERLIN)
    autumn = diary(night, date(2026, 10, 25), zone=BERLIN)
    assert local_starts(free_starts(spring, {1: []}, 180), BERLIN) == ["29 01:00"]
    assert len(free_starts(autumn, {1: []}, 300)) == 1
    assert free_starts(spring, {1: []}, 195) == []


def test_opening_in_the_hour_that_is_skipped_follows_rfc_5545() -> None:
    """RFC 5545, 3.3.5: 02:30 on the day of the gap is read with the offset before it, which clocks call 03:30."""
    found = free_starts(diary({6: (time(2, 30), time(4))}, date(2026, 3, 29), zone=BERLIN), {1: []}, 30)
    assert local_starts(found, BERLIN) == ["29 03:30"]


def test_opening_hours_off_the_grid_are_narrowed_to_it() -> None:
    found = free_starts(diary({0: (time(8, 10), time(9, 20))}), {1: []}, 30)
    assert local_starts(found) == ["07 08:15", "07 08:30", "07 08:45"]


def test_curing_keeps_the_bay_past_closing_but_not_into_the_next_job() -> None:
    next_morning = {1: [cells(LONDON, (2026, 9, 8, 8), (2026, 9, 8, 18))]}
    assert local_starts(free_starts(diary(), next_morning, 600, cure_minutes=14 * 60)) == ["07 08:00"]
    assert free_starts(diary(), next_morning, 600, cure_minutes=14 * 60 + 1) == []


def test_zero_cure_is_no_cure() -> None:
    assert free_starts(diary(), {1: []}, 60, cure_minutes=0) == free_starts(diary(), {1: []}, 60)


def test_29_february_is_a_day() -> None:
    found = free_starts(diary(first_day=date(2028, 2, 28), days=3), {1: []}, 600)
    assert local_starts(found) == ["28 08:00", "29 08:00", "01 08:00"]


def test_not_before_within_a_quarter_waits_for_the_next() -> None:
    found = free_starts(diary(), {1: []}, 60, not_before=datetime(2026, 9, 7, 9, 1, tzinfo=LONDON), limit=1)
    assert local_starts(found) == ["07 09:15"]


def test_quarters_cover_what_they_touch() -> None:
    start = datetime(1970, 1, 1, 1, 7, tzinfo=UTC)
    assert quarters(start, start + timedelta(minutes=10)) == range(4, 6)
    assert quarters(datetime(1970, 1, 1, tzinfo=UTC), datetime(1970, 1, 1, 1, tzinfo=UTC)) == range(0, 4)


@pytest.mark.parametrize(
    "opening",
    [
        {0: (time(18), time(8))},
        {0: (time(8), time(8))},
        {0: ((time(8), time(12)), (time(11), time(14)))},
        {0: ((time(8), time(0)), (time(11), time(14)))},
    ],
)
def test_opening_that_makes_no_sense_is_refused(opening: object) -> None:
    with pytest.raises(ValueError, match="weekday 0"):
        diary(opening)


def test_a_diary_without_days_and_work_without_length_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one day"):
        diary(days=0)
    with pytest.raises(ValueError, match="at least one minute"):
        free_starts(diary(), {1: []}, 0)
