"""Which free starts are shown: an anchor for each gap, and the full hours."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from bookings.rules.offering import worth_showing

LONDON = ZoneInfo("Europe/London")
KATHMANDU = ZoneInfo("Asia/Kathmandu")
MIDNIGHT = datetime(2026, 3, 3, tzinfo=UTC)


def starts(*quarters: int) -> list[datetime]:
    return [MIDNIGHT + timedelta(minutes=15 * quarter) for quarter in quarters]


def test_full_hours_and_the_first_of_each_run() -> None:
    free = starts(33, 34, 35, 36, 37, 45, 46)
    assert worth_showing(free, LONDON) == starts(33, 36, 45)


def test_hours_are_those_of_the_shop() -> None:
    # Kathmandu is 5 h 45 min ahead of UTC: its full hours fall on a quarter past in UTC.
    assert worth_showing(starts(8, 9, 10, 11, 12, 13), KATHMANDU) == starts(8, 9, 13)


@given(st.sets(st.integers(0, 200)))
def test_something_is_shown_of_every_run_and_nothing_is_made_up(quarters: set[int]) -> None:
    free = starts(*sorted(quarters))
    shown = worth_showing(free, LONDON)
    assert set(shown) <= set(free)
    assert shown == sorted(shown)
    first_of_runs = {start for start in free if start - timedelta(minutes=15) not in free}
    assert first_of_runs <= set(shown)
