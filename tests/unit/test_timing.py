"""Send instants against a minute-by-minute walk along the wall clock, over clock changes of many zones."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from reminders.timing import QuietHours, notice_day, send_instant

LONDON = ZoneInfo("Europe/London")
# Half-hour and three-quarter-hour offsets, a half-hour change, changes at midnight, a day skipped, none at all.
ZONES = [
    ZoneInfo(name)
    for name in (
        "Europe/London",
        "America/St_Johns",
        "Australia/Lord_Howe",
        "Asia/Kathmandu",
        "Asia/Beirut",
        "America/Havana",
        "Pacific/Apia",
        "UTC",
    )
]
MINUTE = timedelta(minutes=1)
wall_times = st.builds(time, st.integers(0, 23), st.sampled_from([0, 15, 30, 45]))
quiet_hours = st.builds(QuietHours, st.sampled_from(ZONES), wall_times, wall_times)
instants = st.datetimes(datetime(2009, 1, 1), datetime(2030, 1, 1)).map(  # noqa: DTZ001
    lambda moment: moment.replace(second=0, microsecond=0, tzinfo=UTC)
)


@st.composite
def instants_near_a_clock_change(draw: st.DrawFn, zone: ZoneInfo) -> datetime:
    """An instant within a day of one at which the zone's offset changes, where it changes at all."""
    instant = draw(instants)
    for day in range(366):
        probe = instant + timedelta(days=day)
        if probe.astimezone(zone).utcoffset() != (probe + timedelta(days=1)).astimezone(zone).utcoffset():
            return probe + draw(st.integers(-24 * 60, 48 * 60)) * MINUTE
    return instant


def has_a_change_near(zone: ZoneInfo, instant: datetime) -> bool:
    offsets = {(instant + timedelta(hours=hour)).astimezone(zone).utcoffset() for hour in range(-24, 49)}
    return len(offsets) > 1


@given(quiet=quiet_hours, instant=instants)
def test_it_is_the_first_minute_outside_quiet_hours(quiet: QuietHours, instant: datetime) -> None:
    assume(not has_a_change_near(quiet.zone, instant))
    expected = instant
    while quiet.covers(expected):
        expected += MINUTE
    assert quiet.after(instant) == expected


@given(data=st.data(), quiet=quiet_hours)
def test_near_clock_changes_it_is_never_quiet_never_earlier_and_never_far(
    data: st.DataObject, quiet: QuietHours
) -> None:
    instant = data.draw(instants_near_a_clock_change(quiet.zone))
    assume((quiet.start.hour - quiet.end.hour) % 24 >= 3 or quiet.start == quiet.end)  # a window no gap can swallow
    sent = quiet.after(instant)
    assert sent >= instant
    assert not quiet.covers(sent)
    first = instant
    while quiet.covers(first):
        first += MINUTE
    # At most the width of a gap later than the very first minute that would do; Apia's gap is a whole day.
    assert sent - first <= (timedelta(days=1) if quiet.zone.key == "Pacific/Apia" else timedelta(hours=1))


@given(quiet=quiet_hours, instant=instants)
def test_moving_it_out_of_quiet_hours_twice_changes_nothing(quiet: QuietHours, instant: datetime) -> None:
    assume((quiet.start.hour - quiet.end.hour) % 24 >= 3)
    assert quiet.after(quiet.after(instant)) == quiet.after(instant)


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        # An evening waits for nine in the morning, which is another distance in UTC over each clock change.
        (datetime(2026, 3, 28, 20, 0, tzinfo=LONDON), datetime(2026, 3, 29, 8, 0, tzinfo=UTC)),
        (datetime(2026, 10, 24, 20, 0, tzinfo=LONDON), datetime(2026, 10, 25, 9, 0, tzinfo=UTC)),
        (datetime(2026, 6, 1, 8, 59, tzinfo=LONDON), datetime(2026, 6, 1, 8, 0, tzinfo=UTC)),
        (datetime(2026, 6, 1, 9, 0, tzinfo=LONDON), datetime(2026, 6, 1, 8, 0, tzinfo=UTC)),
        (datetime(2026, 6, 1, 18, 59, tzinfo=LONDON), datetime(2026, 6, 1, 17, 59, tzinfo=UTC)),
        (datetime(2026, 6, 1, 19, 0, tzinfo=LONDON), datetime(2026, 6, 2, 8, 0, tzinfo=UTC)),
    ],
)
def test_a_night_in_london(moment: datetime, expected: datetime) -> None:
    assert QuietHours(LONDON, time(19), time(9)).after(moment) == expected


def test_an_end_that_the_clocks_skip_is_read_with_the_offset_before_the_gap() -> None:
    # 2026-03-29: 01:00 GMT becomes 02:00 BST, so 01:30 is read as 01:30 GMT.
    quiet = QuietHours(LONDON, time(22), time(1, 30))
    assert quiet.after(datetime(2026, 3, 29, 0, 30, tzinfo=UTC)) == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)


def test_an_end_that_the_clocks_repeat_ends_the_hour_it_follows() -> None:
    # 2026-10-25: 02:00 BST becomes 01:00 GMT, so 01:30 comes at 00:30 and at 01:30 UTC.
    quiet = QuietHours(LONDON, time(22), time(1, 30))
    assert quiet.after(datetime(2026, 10, 25, 0, 10, tzinfo=UTC)) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert quiet.after(datetime(2026, 10, 25, 1, 10, tzinfo=UTC)) == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_a_window_that_only_a_skipped_hour_holds_opens_the_next_day() -> None:
    quiet = QuietHours(LONDON, time(2), time(1, 15))
    assert quiet.after(datetime(2026, 3, 29, 0, 30, tzinfo=UTC)) == datetime(2026, 3, 30, 0, 15, tzinfo=UTC)


def test_a_day_and_a_time_become_an_instant() -> None:
    quiet = QuietHours(LONDON, time(19), time(9))
    assert send_instant(date(2026, 7, 1), time(16), quiet) == datetime(2026, 7, 1, 15, tzinfo=UTC)
    assert send_instant(date(2026, 12, 1), time(16), quiet) == datetime(2026, 12, 1, 16, tzinfo=UTC)
    assert send_instant(date(2026, 12, 1), time(23), quiet) == datetime(2026, 12, 2, 9, tzinfo=UTC)


def test_equal_ends_mean_no_quiet_hours() -> None:
    midnight = datetime(2026, 1, 1, tzinfo=UTC)
    assert QuietHours(LONDON, time(9), time(9)).after(midnight) == midnight


def test_the_notice_leaves_the_lead_to_act() -> None:
    assert notice_day(date(2027, 1, 10), 28) == date(2026, 12, 13)
