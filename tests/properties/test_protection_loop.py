"""The array code against a loop over days that knows no arrays."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import CoatKind, RoadSalt
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Coat, Site, Use
from tests.parts.climates import MARITIME, shifted
from tests.properties.bikes_in_use import days_before, uses
from tests.properties.protection_loop import due_days

AS_OF = date(2024, 3, 1)
past_days = days_before(AS_OF, 0, 700)
habits = uses(days_before(AS_OF, -300, 500), st.lists(past_days, max_size=4), st.just(()))


@st.composite
def sites(draw: st.DrawFn) -> Site:
    climate = draw(st.sampled_from([MARITIME, shifted(MARITIME)]))
    return Site(climate, draw(st.sampled_from(RoadSalt)), draw(st.floats(0, 60)), draw(st.floats(0, 100)))


coats = st.builds(Coat, zone=st.sampled_from(COATED_ZONES), kind=st.sampled_from(CoatKind), applied_on=past_days)


@settings(max_examples=120)
@given(site=sites(), use=habits, coat=coats)
def test_arrays_and_loop_name_the_same_days(site: Site, use: Use, coat: Coat) -> None:
    answer = forecast(site, use, [coat], AS_OF, horizon_years=2).coats[0]
    slow = due_days(site, use, coat, AS_OF, DEFAULTS, AS_OF + timedelta(days=round(2 * 365.25)))
    assert [answer.due_early, answer.due_likely, answer.due_late] == slow
