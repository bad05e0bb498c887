"""How bikes are ridden and kept, for the property tests of the forecast."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import strategies as st

from bookings.rules.types import Storage
from reminders.protection.types import Reading, Tour, Use


def days_before(as_of: date, least: int, most: int) -> st.SearchStrategy[date]:
    """Days from `least` to `most` before `as_of`."""
    return st.integers(least, most).map(lambda back: as_of - timedelta(days=back))


@st.composite
def tours(draw: st.DrawFn, starts: st.SearchStrategy[date]) -> Tour:
    """A tour of up to 41 days."""
    first = draw(starts)
    last = first + timedelta(days=draw(st.integers(0, 40)))
    return Tour(first, last, draw(st.floats(0, 5000)), draw(st.booleans()))


@st.composite
def uses(
    draw: st.DrawFn,
    starts: st.SearchStrategy[date],
    washed: st.SearchStrategy[list[date]],
    odometers: st.SearchStrategy[tuple[Reading, ...]],
) -> Use:
    """A rider's habits, with up to two tours that begin on days of `starts`."""
    return Use(
        storage=draw(st.sampled_from(Storage)),
        riding_months=frozenset(draw(st.sets(st.integers(1, 12), min_size=1))),
        km_per_year=draw(st.sampled_from([0.0, 500.0, 7000.0, 40_000.0])),
        washes_per_year=draw(st.floats(0, 60)),
        tours=tuple(draw(st.lists(tours(starts), max_size=2))),
        odometer=draw(odometers),
        washed_on=tuple(draw(washed)),
    )
