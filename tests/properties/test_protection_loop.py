"""The array code against a loop over days that knows no arrays."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import CoatKind, RoadSalt, Storage
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Coat, Site, Tour, Use
from tests.parts.climates import MARITIME, shifted
from tests.properties.protection_loop import due_days

AS_OF = date(2024, 3, 1)
past_days = st.integers(0, 700).map(lambda days: AS_OF - timedelta(days=days))


@st.composite
def tours(draw: st.DrawFn) -> Tour:
    first = AS_OF + timedelta(days=draw(st.integers(-500, 300)))
    last = first + timedelta(days=draw(st.integers(0, 40)))
    return Tour(first, last, draw(st.floats(0, 5000)), draw(st.booleans()))


@st.composite
def uses(draw: st.DrawFn) -> Use:
    return Use(
        storage=draw(st.sampled_from(Storage)),
        riding_months=frozenset(draw(st.sets(st.integers(1, 12), min_size=1))),
        km_per_year=draw(st.sampled_from([0.0, 500.0, 7000.0, 40_000.0])),
        washes_per_year=draw(st.floats(0, 60)),
        tours=tuple(draw(st.lists(tours(), max_size=2))),
        washed_on=tuple(draw(st.lists(past_days, max_size=4))),
    )


@st.composite
def sites(draw: st.DrawFn) -> Site:
    climate = draw(st.sampled_from([MARITIME, shifted(MARITIME)]))
    return Site(climate, draw(st.sampled_from(RoadSalt)), draw(st.floats(0, 60)), draw(st.floats(0, 100)))


coats = st.builds(Coat, zone=st.sampled_from(COATED_ZONES), kind=st.sampled_from(CoatKind), applied_on=past_days)


@settings(max_examples=120)
@given(site=sites(), use=uses(), coat=coats)
def test_arrays_and_loop_name_the_same_days(site: Site, use: Use, coat: Coat) -> None:
    answer = forecast(site, use, [coat], AS_OF, horizon_years=2).coats[0]
    slow = due_days(site, use, coat, AS_OF, DEFAULTS, AS_OF + timedelta(days=round(2 * 365.25)))
    assert [answer.due_early, answer.due_likely, answer.due_late] == slow
