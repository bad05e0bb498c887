"""Many coats at once against one after the other."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bookings.rules.errors import InputErrors
from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import CoatKind, RoadSalt, Storage
from reminders.protection.bulk import Coats, Habit, due_days
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.parameters import Parameters
from reminders.protection.types import Coat, Observation, Reading, Site, Use
from tests.parts.climates import ALL_YEAR, MARITIME, NO_BRINE, shifted, site, use
from tests.properties.bikes_in_use import days_before, uses

AS_OF = date(2025, 3, 1)
HORIZON_YEARS = 3
RINSED = DEFAULTS.with_values({"brine.half_life_days": 40.0, "brine.washed_off_share": 1.0, "salt.rinsed_share": 0.7})
past_days = days_before(AS_OF, -60, 900)


@st.composite
def odometers(draw: st.DrawFn) -> tuple[Reading, ...]:
    days = sorted(draw(st.sets(st.integers(0, 1500), max_size=4)), reverse=True)
    km = sorted(draw(st.lists(st.floats(0, 60_000), min_size=len(days), max_size=len(days))))
    return tuple(Reading(AS_OF - timedelta(days=back), read) for back, read in zip(days, km, strict=True))


habits = uses(days_before(AS_OF, -500, 700), st.lists(days_before(AS_OF, 0, 900), max_size=3), odometers())


@st.composite
def sites(draw: st.DrawFn) -> Site:
    climate = draw(st.sampled_from([MARITIME, shifted(MARITIME), replace(MARITIME, frost_days=None)]))
    frosts = draw(st.integers(0, 120))
    seen = (Observation(AS_OF - timedelta(days=back), 2.0, -1.5, 88.0) for back in range(300, 300 + frosts))
    season = draw(st.sampled_from([None, ((11, 15), (3, 10))]))
    return Site(
        climate, draw(st.sampled_from(RoadSalt)), draw(st.floats(0, 60)), draw(st.floats(0, 9)), season, tuple(seen)
    )


coats = st.builds(
    Coat,
    zone=st.sampled_from(COATED_ZONES),
    kind=st.sampled_from(CoatKind),
    applied_on=past_days,
    nominal_life_days=st.sampled_from([None, 60.0, 400.0]),
    log_rate=st.floats(-1, 1),
    log_rate_sd=st.sampled_from([None, 0.05, 0.2, 1.5]),
)
bikes = st.tuples(sites(), habits, st.lists(coats, max_size=5))
parameters = st.sampled_from([DEFAULTS, NO_BRINE, RINSED])


@settings(max_examples=150)
@given(st.lists(bikes, max_size=4), parameters)
def test_many_at_once_are_due_as_each_by_itself(fleet: list[tuple[Site, Use, list[Coat]]], table: Parameters) -> None:
    slow = [
        (answer.due_early, answer.due_likely, answer.due_late)
        for where, how, put_on in fleet
        for answer in forecast(where, how, put_on, AS_OF, table, HORIZON_YEARS).coats
    ]
    kept = [Habit(where, how, tuple(coat.applied_on for coat in put_on)) for where, how, put_on in fleet]
    columns = Coats.of((index, coat) for index, (*_, put_on) in enumerate(fleet) for coat in put_on)
    fast = due_days(kept, columns, AS_OF, table, HORIZON_YEARS)
    assert list(zip(fast.early.tolist(), fast.likely.tolist(), fast.late.tolist(), strict=True)) == slow


@settings(max_examples=60)
@given(sites(), habits, st.lists(coats, min_size=1, max_size=12), parameters)
def test_bikes_of_one_habit_are_not_cleaned_with_each_other(
    where: Site, how: Use, put_on: list[Coat], table: Parameters
) -> None:
    slow = [forecast(where, how, [coat], AS_OF, table, HORIZON_YEARS).coats[0] for coat in put_on]
    fast = due_days([Habit(where, how)], Coats.of((0, coat) for coat in put_on), AS_OF, table, HORIZON_YEARS)
    assert fast.likely.tolist() == [answer.due_likely for answer in slow]
    assert fast.early.tolist() == [answer.due_early for answer in slow]
    assert fast.late.tolist() == [answer.due_late for answer in slow]


@pytest.mark.parametrize("table", [DEFAULTS, NO_BRINE])
@pytest.mark.parametrize("months", [ALL_YEAR, frozenset({2, 3}), frozenset({4, 5, 10})])
def test_a_coat_of_every_day_of_a_year(months: frozenset[int], table: Parameters) -> None:
    """Every way a coat can meet the salt that a bike not treated would carry."""
    how = use(Storage.UNHEATED, months)
    put_on = [
        Coat(zone, kind, AS_OF - timedelta(days=back))
        for back in range(0, 366, 3)
        for zone, kind in zip(COATED_ZONES[:4], CoatKind, strict=True)
    ]
    fast = due_days([Habit(site(), how)], Coats.of((0, coat) for coat in put_on), AS_OF, table)
    slow = [forecast(site(), how, [coat], AS_OF, table).coats[0] for coat in put_on]
    assert fast.early.tolist() == [answer.due_early for answer in slow]
    assert fast.likely.tolist() == [answer.due_likely for answer in slow]
    assert fast.late.tolist() == [answer.due_late for answer in slow]


def test_nothing_to_forecast_and_columns_that_cannot_be() -> None:
    assert due_days([], Coats.of([]), AS_OF).likely.tolist() == []
    one = Coats.of([(0, Coat(COATED_ZONES[0], CoatKind.WAX, AS_OF))])
    wrong = replace(one, habit=np.array([3]), zone=np.array([99]), kind=np.array([0, 1]), log_rate=np.array([np.nan]))
    told = replace(use(), washed_on=(AS_OF + timedelta(days=1),))
    with pytest.raises(InputErrors) as refused:
        due_days([Habit(site(), told)], wrong, AS_OF)
    assert [error.field for error in refused.value.errors] == [
        "habits[0].washed_on[0]",
        "habit[0]",
        "zone[0]",
        "kind",
        "coats",
    ]
    with pytest.raises(InputErrors):
        due_days([], Coats.of([]), AS_OF, horizon_years=0)
