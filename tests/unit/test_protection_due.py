"""Seasons, readings and salt that stays, worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from bookings.rules.errors import InputErrors
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.due import forecast, salt_seasons
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Climate, Coat, Observation, Reading, Site, Tour, Use
from reminders.protection.wear import load, riding_km, washes
from tests.parts.climates import MARITIME, NO_BRINE, SUMMER, site, use

JUNE = date(2025, 6, 15)
YEAR_2025 = np.arange(np.datetime64("2025-01-01"), np.datetime64("2026-01-01"))
FRAME_FILM = Coat(Zone.FRAME, CoatKind.HEAVY_FILM, JUNE)


def fields(refused: pytest.ExceptionInfo[InputErrors]) -> list[str]:
    return [error.field for error in refused.value.errors]


def test_season_spans_new_year_and_is_the_next_one() -> None:
    season = forecast(site(), use(), [], JUNE).salt_season
    assert season is not None
    assert (season.from_.year, season.to.year) == (2025, 2026)
    assert season.from_.month in (10, 11) and season.to.month in (3, 4)


def test_inside_a_season_it_is_that_season() -> None:
    season = forecast(site(), use(), [], date(2026, 1, 10)).salt_season
    assert season == forecast(site(), use(), [], JUNE).salt_season


def test_a_coat_that_may_not_outlast_the_salt_is_called_three_weeks_before_it() -> None:
    answer = forecast(site(), use(), [FRAME_FILM], JUNE)
    coat, season = answer.coats[0], answer.salt_season
    assert season is not None and coat.due_early is not None
    assert coat.due_early <= season.to
    assert coat.act_by == season.from_ - timedelta(days=21)


def test_a_coat_that_outlasts_the_salt_is_left_alone() -> None:
    kept = Use(Storage.HEATED, SUMMER, 1000, 2)
    coat = forecast(site(), kept, [replace(FRAME_FILM, kind=CoatKind.WAX)], JUNE).coats[0]
    assert coat.due_early is None or coat.due_early > date(2026, 4, 30)
    assert coat.act_by is None


def test_a_coat_put_on_inside_a_season_is_called_before_the_following_one() -> None:
    on = date(2025, 12, 1)
    coat = forecast(site(), Use(Storage.HEATED, SUMMER, 5000, 8), [replace(FRAME_FILM, applied_on=on)], on).coats[0]
    assert coat.act_by is not None
    assert date(2026, 9, 1) < coat.act_by < date(2026, 11, 1)


def test_frost_without_salted_roads_is_no_season() -> None:
    assert salt_seasons(site(RoadSalt.NONE), JUNE) == ()
    none_spread = DEFAULTS.with_values({"salt.normal.deposition": 0.0})
    assert salt_seasons(site(), JUNE, none_spread) == ()


def test_salt_without_frost_is_no_season() -> None:
    warm = Climate((25.0,) * 12, (70,) * 12, (20.0,) * 12, (0,) * 12)
    answer = forecast(site(climate=warm), use(), [FRAME_FILM], JUNE)
    assert answer.salt_season is None and answer.coats[0].act_by is None


def test_the_shops_own_dates_replace_the_inferred_season() -> None:
    dated = replace(site(), salt_season=((10, 5), (4, 26)))
    answer = forecast(dated, use(), [FRAME_FILM], JUNE)
    assert answer.salt_season is not None
    assert (answer.salt_season.from_, answer.salt_season.to) == (date(2025, 10, 5), date(2026, 4, 26))
    southern = replace(site(), salt_season=((6, 1), (8, 31)))
    season = forecast(southern, use(), [], JUNE).salt_season
    assert season is not None and (season.from_, season.to) == (date(2025, 6, 1), date(2025, 8, 31))


def test_roads_salted_all_year_have_no_day_before_the_season() -> None:
    arctic = Climate((-8.0,) * 12, (85,) * 12, (-12.0,) * 12)
    answer = forecast(site(climate=arctic), use(), [FRAME_FILM], JUNE)
    assert answer.salt_season is not None and answer.salt_season.from_ <= JUNE <= answer.salt_season.to
    assert answer.coats[0].act_by is None


def test_leap_day() -> None:
    leap = date(2024, 2, 29)
    coat = forecast(site(), use(), [replace(FRAME_FILM, applied_on=leap)], leap).coats[0]
    assert coat.applied_on == leap and coat.protection_left == 1.0
    ending = replace(site(), salt_season=((11, 1), (2, 29)))
    assert [season.to for season in salt_seasons(ending, date(2023, 6, 1))] == [
        date(2023, 2, 28),
        date(2024, 2, 29),
        date(2025, 2, 28),
    ]


def test_nothing_due_within_the_horizon_is_an_answer() -> None:
    dry = Climate((20.0,) * 12, (40,) * 12, (15.0,) * 12, (0,) * 12)
    kept = Use(Storage.HEATED, frozenset(), 0, 0)
    coat = replace(FRAME_FILM, nominal_life_days=9000.0)
    answer = forecast(Site(dry, RoadSalt.NONE, 1, 1), kept, [coat], JUNE, horizon_years=2).coats[0]
    assert (answer.due_early, answer.due_likely, answer.due_late, answer.act_by) == (None, None, None, None)
    assert answer.protection_curve(30).dates[-1] == JUNE + timedelta(days=731)
    assert answer.wear_share.age > 0.5


def test_values_beyond_the_published_range_are_flagged() -> None:
    assert not forecast(site(), use(), [FRAME_FILM], JUNE).coats[0].extrapolated
    damp = replace(MARITIME, relative_humidity_percent=(97.0,) * 12)
    assert forecast(site(climate=damp), use(), [FRAME_FILM], JUNE).coats[0].extrapolated
    assert forecast(replace(site(), so2_deposition_mg_m2_day=0.0), use(), [FRAME_FILM], JUNE).coats[0].extrapolated
    sprocket = Coat(Zone.SPROCKET, CoatKind.CERAMIC, JUNE)
    assert forecast(site(RoadSalt.HEAVY), use(), [sprocket], JUNE).coats[0].extrapolated


def test_zones_that_may_never_be_coated_are_refused() -> None:
    with pytest.raises(InputErrors) as refused:
        Coat(Zone.BRAKE_DISCS, CoatKind.CLEAR_FILM, JUNE)
    assert fields(refused) == ["zone"]


def test_assumed_kilometres_fill_the_riding_months_of_a_year() -> None:
    summer = riding_km(Use(Storage.OUTSIDE, SUMMER, 5000, 0), YEAR_2025)
    assert summer.sum() == pytest.approx(5000)
    assert summer[:90].sum() == 0


def test_a_tour_stands_in_for_the_assumption_on_its_days() -> None:
    tour = Tour(date(2025, 7, 1), date(2025, 7, 10), 3000, salted=False)
    km = riding_km(Use(Storage.OUTSIDE, SUMMER, 1830, 0, tours=(tour,)), YEAR_2025)
    assert km[181:191] == pytest.approx(300)
    assert km.sum() == pytest.approx(3000 + 1830 - 100)


def test_the_odometer_overrules_assumption_and_tours() -> None:
    tour = Tour(date(2025, 5, 1), date(2025, 5, 10), 400, salted=False)
    marks = (Reading(date(2025, 4, 1), 10_000), Reading(date(2025, 6, 1), 11_000))
    km = riding_km(Use(Storage.OUTSIDE, SUMMER, 9150, 0, tours=(tour,), odometer=marks), YEAR_2025)
    between = km[90:151]
    assert between.sum() == pytest.approx(1000)
    assert between[30:40].sum() == pytest.approx(400)
    assert km[151] == pytest.approx(50)
    parked = (Reading(date(2025, 4, 1), 10_000), Reading(date(2025, 6, 1), 10_000))
    assert riding_km(Use(Storage.OUTSIDE, SUMMER, 9150, 0, odometer=parked), YEAR_2025)[90:151].sum() == 0
    # Ridden out of season after all: spread over the days there are.
    winter = (Reading(date(2025, 1, 11), 10_000), Reading(date(2025, 1, 21), 10_500))
    assert riding_km(Use(Storage.OUTSIDE, SUMMER, 9150, 0, odometer=winter), YEAR_2025)[10:20] == pytest.approx(50)


def test_a_reading_before_the_coat_does_not_pour_its_kilometres_into_it() -> None:
    marks = (Reading(date(2024, 6, 15), 0), Reading(date(2025, 6, 25), 3750))
    assumed = forecast(site(), use(km=3652.5), [FRAME_FILM], date(2025, 6, 25))
    read = forecast(site(), replace(use(km=3652.5), odometer=marks), [FRAME_FILM], date(2025, 6, 25))
    assert read.coats[0].protection_left == pytest.approx(assumed.coats[0].protection_left, abs=1e-4)


def test_recorded_washes_are_complete_from_the_first_to_today() -> None:
    recorded = (date(2025, 3, 1), date(2025, 5, 1), date(2025, 5, 1))
    count = washes(replace(use(washes=36.525), washed_on=recorded), YEAR_2025, JUNE)
    assert count[:59] == pytest.approx(0.1)
    assert count[59:166].sum() == 3
    assert count[120] == 2
    assert count[166:] == pytest.approx(0.1)


def test_salt_left_on_halves_and_a_recorded_wash_takes_it_off() -> None:
    tour = Tour(date(2025, 1, 1), date(2025, 1, 2), 500, salted=True)
    parked = Use(Storage.HEATED, SUMMER, 3000, 0, tours=(tour,))
    kept = load(site(), parked, YEAR_2025, JUNE, DEFAULTS).kept_chloride
    assert kept[1] == pytest.approx(300)
    assert kept[15] == pytest.approx(150)
    washed = replace(parked, washed_on=(date(2025, 1, 5),))
    assert load(site(), washed, YEAR_2025, JUNE, DEFAULTS).kept_chloride[4] == pytest.approx(kept[4] * 0.1)
    assert not load(site(), parked, YEAR_2025, JUNE, NO_BRINE).kept_chloride.any()


def test_a_salted_bike_in_a_warm_garage_is_not_safe() -> None:
    """One salted tour in January, then a heated garage: with salt that stays, it wears on; washed at once, less."""
    tour = Tour(date(2025, 1, 1), date(2025, 1, 2), 500, salted=True)
    parked = Use(Storage.HEATED, SUMMER, 3000, 4, tours=(tour,))
    coat = [Coat(Zone.SPOKES, CoatKind.HEAVY_FILM, date(2024, 12, 1))]
    stays = forecast(site(), parked, coat, JUNE).coats[0]
    forgotten = forecast(site(), parked, coat, JUNE, NO_BRINE).coats[0]
    salt_free = forecast(site(), replace(parked, tours=()), coat, JUNE).coats[0]
    assert stays.wear_share.salt > 1.5 * forgotten.wear_share.salt
    assert stays.protection_left < forgotten.protection_left < salt_free.protection_left


def test_observed_days_replace_the_normals() -> None:
    days = [JUNE - timedelta(days=back) for back in range(100)]
    frosty = tuple(Observation(day, 1.0, -3.0, 90.0) for day in days)
    mild = replace(site(), observed=tuple(Observation(day, 18.0, 12.0, 60.0) for day in days))
    coat = replace(FRAME_FILM, applied_on=days[-1])
    cold, warm = (forecast(where, use(), [coat], JUNE).coats[0] for where in (replace(site(), observed=frosty), mild))
    assert cold.protection_left < warm.protection_left
    assert cold.wear_share.salt > warm.wear_share.salt


SEEN_BEFORE = tuple(Observation(date(2024, 12, 1) + timedelta(days=day), 9.0, 6.0, 80.0) for day in range(60))
READ_BEFORE = (Reading(date(2024, 1, 1), 0), Reading(date(2024, 6, 1), 2000), Reading(date(2025, 3, 1), 9000))


@pytest.mark.parametrize(
    ("where", "how"),
    [(replace(site(), observed=SEEN_BEFORE), use()), (site(), replace(use(), odometer=READ_BEFORE))],
)
def test_an_answer_does_not_hang_on_what_else_was_asked(where: Site, how: Use) -> None:
    """Weather and readings from before a coat count the same whether or not an older coat is asked for with it."""
    young = replace(FRAME_FILM, applied_on=date(2025, 1, 20))
    older = replace(FRAME_FILM, zone=Zone.FORK, applied_on=date(2024, 3, 1))
    alone, among = (forecast(where, how, coats, JUNE).coats[0] for coats in ([young], [young, older]))
    assert alone.due_likely == among.due_likely
    assert alone.protection_left == pytest.approx(among.protection_left, abs=1e-12)


def test_all_that_is_untimely_is_said_at_once() -> None:
    late = JUNE + timedelta(days=1)
    told = replace(use(), odometer=(Reading(late, 5),), washed_on=(late,))
    ancient = replace(FRAME_FILM, applied_on=date(1990, 1, 1))
    with pytest.raises(InputErrors) as refused:
        forecast(site(), told, [ancient], JUNE, horizon_years=0)
    assert fields(refused) == ["horizon_years", "coats[0].applied_on", "odometer[0].on", "washed_on[0]"]
    with pytest.raises(InputErrors) as refused:
        forecast(site(), use(), [], date(2500, 1, 1))
    assert fields(refused) == ["as_of"]


def test_the_curve_runs_from_full_to_nothing() -> None:
    answer = forecast(site(), use(), [FRAME_FILM], JUNE).coats[0]
    curve = answer.protection_curve(7)
    assert curve.likely[0] == 1.0 and curve.late[-1] == 0.0
    assert answer.due_late is not None and curve.dates[-1] == answer.due_late + timedelta(days=1)
    with pytest.raises(ValueError, match="step_days"):
        answer.protection_curve(0)
