"""What must hold for any bike: worse treatment is never answered with a later day, and the parts add up."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from bookings.rules.safety import COATED_ZONES
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.climate import STORAGE_CHAIN
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Climate, Coat, CoatForecast, Site, Tour, Use
from reminders.protection.wear import accumulated, load, wear_by_cause
from tests.parts.climates import ALL_YEAR, MARITIME, shifted

AS_OF = date(2025, 6, 15)
NEVER = date.max
temperatures = st.lists(st.floats(-25, 35), min_size=12, max_size=12)
humidities = st.lists(st.floats(20, 100), min_size=12, max_size=12)


@st.composite
def climates(draw: st.DrawFn) -> Climate:
    means = tuple(draw(temperatures))
    minima = tuple(mean - draw(st.floats(0, 10)) for mean in means)
    return Climate(means, tuple(draw(humidities)), minima)


@st.composite
def uses(draw: st.DrawFn) -> Use:
    return Use(
        storage=draw(st.sampled_from(Storage)),
        riding_months=frozenset(draw(st.sets(st.integers(1, 12), min_size=1))),
        km_per_year=draw(st.floats(0, 40_000)),
        washes_per_year=draw(st.floats(0, 100)),
    )


sites = st.builds(Site, climates(), st.sampled_from(RoadSalt), st.floats(0, 100), st.floats(0, 300))
coats = st.builds(
    Coat,
    zone=st.sampled_from(COATED_ZONES),
    kind=st.sampled_from(CoatKind),
    applied_on=st.integers(0, 1500).map(lambda days: AS_OF - timedelta(days=days)),
)


def one(site: Site, use: Use, coat: Coat, as_of: date = AS_OF, years: int = 3) -> CoatForecast:
    return forecast(site, use, [coat], as_of, horizon_years=years).coats[0]


def days(answer: CoatForecast) -> tuple[date, date, date]:
    """Early, likely and late, with past the horizon as the end of time."""
    return (answer.due_early or NEVER, answer.due_likely or NEVER, answer.due_late or NEVER)


def never_later(worse: CoatForecast, better: CoatForecast) -> bool:
    return all(a <= b for a, b in zip(days(worse), days(better), strict=True))


@given(sites, uses(), coats, st.floats(1, 3), st.floats(0, 30_000))
def test_more_riding_is_never_due_later(site: Site, use: Use, coat: Coat, times: float, km: float) -> None:
    more = replace(use, km_per_year=use.km_per_year * times + km)
    assert never_later(one(site, more, coat), one(site, use, coat))


@given(sites, uses(), coats, st.floats(0, 60))
def test_more_washing_is_never_due_later(site: Site, use: Use, coat: Coat, washes: float) -> None:
    more = replace(use, washes_per_year=use.washes_per_year + washes)
    assert never_later(one(site, more, coat), one(site, use, coat))


@given(sites, uses(), coats)
def test_more_salt_is_never_due_later(site: Site, use: Use, coat: Coat) -> None:
    answers = [one(replace(site, road_salt=salt), use, coat) for salt in RoadSalt]
    assert all(never_later(worse, better) for better, worse in pairwise(answers))


@given(sites, uses(), coats, st.floats(0, 4000), st.integers(-400, 400))
def test_a_tour_on_salted_roads_is_never_due_later(site: Site, use: Use, coat: Coat, km: float, start: int) -> None:
    first = AS_OF + timedelta(days=start)
    tours = [Tour(first, first + timedelta(days=9), km, salted) for salted in (False, True)]
    dry, salted = (one(site, replace(use, tours=(tour,)), coat) for tour in tours)
    assert never_later(salted, dry)


@given(sites, uses(), coats)
def test_worse_storage_is_never_due_later(site: Site, use: Use, coat: Coat) -> None:
    answers = [one(site, replace(use, storage=place), coat) for place in STORAGE_CHAIN]
    assert all(never_later(worse, better) for worse, better in pairwise(answers))


@given(sites, uses(), coats, st.integers(0, 500))
def test_a_later_coat_is_never_due_earlier(site: Site, use: Use, coat: Coat, delay: int) -> None:
    later = replace(coat, applied_on=coat.applied_on + timedelta(days=delay))
    assert never_later(one(site, use, coat), one(site, use, later))
    assert one(site, use, coat).protection_left <= one(site, use, later).protection_left + 1e-12


@given(sites, uses(), coats)
def test_band_shares_and_curve_are_of_one_piece(site: Site, use: Use, coat: Coat) -> None:
    answer = one(site, use, coat)
    early, likely, late = days(answer)
    assert coat.applied_on <= early <= likely <= late
    shares = (getattr(answer.wear_share, cause) for cause in ("age", "climate", "salt", "riding", "washing"))
    parts = list(shares)
    assert min(parts) >= 0
    assert abs(sum(parts) - 1) < 1e-9
    assert 0 <= answer.protection_left <= 1
    curve = answer.protection_curve(step_days=30)
    assert curve.dates[0] == coat.applied_on
    assert len(curve.dates) == len(curve.likely) == len(curve.early) == len(curve.late)
    assert list(curve.likely) == sorted(curve.likely, reverse=True)
    assert all(a <= b <= c for a, b, c in zip(curve.early, curve.likely, curve.late, strict=True))


@given(sites, uses(), coats)
def test_without_road_salt_there_is_no_winter(site: Site, use: Use, coat: Coat) -> None:
    answer = forecast(replace(site, road_salt=RoadSalt.NONE), use, [coat], AS_OF)
    assert answer.salt_season is None
    assert answer.coats[0].act_by is None
    assert answer.coats[0].wear_share.salt == 0


@given(sites, uses(), st.integers(1, 999))
def test_wear_adds_up_over_a_split_span(site: Site, use: Use, cut: int) -> None:
    grid = np.arange(np.datetime64("2024-01-01"), np.datetime64("2024-01-01") + 1000)
    whole = wear_by_cause(load(site, use, grid, AS_OF, DEFAULTS), Zone.FORK, CoatKind.WAX)
    total = accumulated(whole)
    assert np.allclose(total[:, cut] + whole[:, cut:].sum(axis=1), total[:, -1], rtol=1e-12, atol=1e-15)
    # Without salt left over from the days before, the second span knows nothing of the first.
    dry = DEFAULTS.with_values({"brine.half_life_days": 0.0})
    parts = [
        wear_by_cause(load(site, use, part, AS_OF, dry), Zone.FORK, CoatKind.WAX) for part in (grid[:cut], grid[cut:])
    ]
    assert np.allclose(np.hstack(parts), wear_by_cause(load(site, use, grid, AS_OF, dry), Zone.FORK, CoatKind.WAX))


@given(st.integers(1, 12), st.sampled_from(CoatKind), st.sampled_from(RoadSalt), st.sampled_from(Storage))
def test_half_a_year_on_the_other_side_of_the_equator(
    month: int, kind: CoatKind, salt: RoadSalt, place: Storage
) -> None:
    """Seven days of play: halves of a year differ in length, and leap days fall differently."""
    use = Use(place, ALL_YEAR, 9000, 12)
    north_on = date(2024, month, 10)
    south_on = date(2024 + (month > 6), (month + 5) % 12 + 1, 10)
    north = one(Site(MARITIME, salt, 5, 3), use, Coat(Zone.FORK, kind, north_on), north_on, 5)
    south = one(Site(shifted(MARITIME), salt, 5, 3), use, Coat(Zone.FORK, kind, south_on), south_on, 5)
    assert north.due_likely is not None and south.due_likely is not None
    assert abs((north.due_likely - north_on).days - (south.due_likely - south_on).days) <= 7
