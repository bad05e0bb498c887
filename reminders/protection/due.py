"""When each coat of a bike is due again, and whether to act before the salt comes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import exp

import numpy as np

from bookings.rules.errors import FieldError
from bookings.rules.types import RoadSalt
from reminders.protection.bounds import Array, date_out_of_bounds, refuse
from reminders.protection.climate import open_air
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.parameters import MODEL_VERSION, Parameters
from reminders.protection.types import Coat, CoatForecast, Forecast, SaltSeason, Site, Use, WearShare
from reminders.protection.wear import Load, accumulated, band_log_sd, first_days_reaching, load, wear_by_cause

LONGEST_HORIZON_YEARS = 20
OLDEST_COAT_DAYS, LATEST_COAT_DAYS = 20 * 366, 2 * 366
# Far enough to see the whole of the first season that starts after the day of the forecast.
_SEASON_WINDOW_DAYS = 800


def forecast(
    site: Site,
    use: Use,
    coats: Sequence[Coat],
    as_of: date,
    parameters: Parameters = DEFAULTS,
    horizon_years: int = 5,
) -> Forecast:
    """Forecast every coat of one bike from what is known on `as_of`. Raises InputErrors.

    A coat is due on the first day by whose end its budget of 1 is used up; the early and late days take the budget
    as e^(∓z·s) of it, s the log scatter of the rate. Days past as_of + horizon_years are None.
    """
    refuse([*span_errors(as_of, horizon_years), *_coat_errors(coats, as_of), *use_errors(use, as_of)])
    seasons = salt_seasons(site, as_of, parameters)
    last = as_of + timedelta(days=round(horizon_years * 365.25))
    first = min([as_of, *(coat.applied_on for coat in coats)])
    days = np.arange(np.datetime64(first), np.datetime64(last + timedelta(days=_SEASON_WINDOW_DAYS)))
    acting = load(site, use, days, as_of, parameters, {coat.applied_on for coat in coats})
    horizon = (last - first).days
    answers = tuple(_forecast_coat(coat, acting, seasons, as_of, horizon) for coat in coats)
    current_or_next = next((season for season in seasons if season.to >= as_of), None)
    return Forecast(answers, current_or_next, MODEL_VERSION)


def span_errors(as_of: date, horizon_years: int) -> Iterator[FieldError]:
    """What is wrong with the day of a forecast and how far it is to look."""
    yield from date_out_of_bounds("as_of", as_of)
    if not 1 <= horizon_years <= LONGEST_HORIZON_YEARS:
        yield FieldError("horizon_years", f"must be from 1 to {LONGEST_HORIZON_YEARS}, not {horizon_years}")


def _coat_errors(coats: Sequence[Coat], as_of: date) -> Iterator[FieldError]:
    for index, coat in enumerate(coats):
        if not -OLDEST_COAT_DAYS <= (coat.applied_on - as_of).days <= LATEST_COAT_DAYS:
            yield FieldError(f"coats[{index}].applied_on", "must lie from 20 years before as_of to 2 years after it")


def use_errors(use: Use, as_of: date) -> Iterator[FieldError]:
    """What a use tells of the days after the forecast's."""
    for index, reading in enumerate(use.odometer):
        if reading.on > as_of:
            yield FieldError(f"odometer[{index}].on", "a reading cannot lie after as_of")
    for index, day in enumerate(use.washed_on):
        if day > as_of:
            yield FieldError(f"washed_on[{index}]", "a recorded wash cannot lie after as_of")


def salt_seasons(site: Site, as_of: date, parameters: Parameters = DEFAULTS) -> tuple[SaltSeason, ...]:
    """Runs of days with salted roads from a year before `as_of` to two after, in order; none where no salt is used."""
    first = as_of - timedelta(days=400)
    days = np.arange(np.datetime64(first), np.datetime64(as_of + timedelta(days=_SEASON_WINDOW_DAYS)))
    salted = open_air(site, days, parameters).salting >= parameters["salt.season_threshold"]
    if site.road_salt is not RoadSalt.NONE and not parameters[f"salt.{site.road_salt}.deposition"]:
        return ()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], salted, [False]]).astype(np.int8)))
    return tuple(
        SaltSeason(first + timedelta(days=int(start)), first + timedelta(days=int(stop) - 1))
        for start, stop in edges.reshape(-1, 2)
    )


@dataclass(frozen=True)
class _Path:
    """One coat's way through its budget: wear by cause (5 rows) before each day of the grid, from index `start`."""

    coat: Coat
    first: date
    start: int
    horizon: int
    by_cause: Array
    total: Array

    def reaching(self, budget: float) -> int | None:
        """Index of the day by whose end `budget` is used up, None past the horizon."""
        index = int(first_days_reaching(self.total, np.array([self.start]), budget)[0])
        return index if index <= self.horizon else None

    def day_at(self, index: int | None) -> date | None:
        return None if index is None else self.first + timedelta(days=index)

    def worn_before(self, day: date) -> float:
        """Share of the budget used up before `day`."""
        index = max((day - self.first).days, self.start)
        return float(self.total[index] - self.total[self.start])


def _forecast_coat(coat: Coat, acting: Load, seasons: Sequence[SaltSeason], as_of: date, horizon: int) -> CoatForecast:
    parameters = acting.parameters
    first = acting.days[0].astype(date)
    wear = wear_by_cause(acting, coat.zone, coat.kind, coat.nominal_life_days) * exp(coat.log_rate)
    by_cause = accumulated(wear)
    path = _Path(coat, first, (coat.applied_on - first).days, horizon, by_cause, by_cause.sum(axis=0))
    scatter = band_log_sd(coat.kind, parameters)
    band = exp(parameters["band.z"] * (scatter if coat.log_rate_sd is None else min(scatter, coat.log_rate_sd)))
    early, likely, late = path.reaching(1.0 / band), path.reaching(1.0), path.reaching(band)
    end = horizon if late is None else late
    flags = acting.extrapolated(parameters[f"zone.{coat.zone}.spray"])
    return CoatForecast(
        zone=coat.zone,
        kind=coat.kind,
        applied_on=coat.applied_on,
        protection_left=min(1.0, max(0.0, 1.0 - path.worn_before(as_of))),
        due_early=path.day_at(early),
        due_likely=path.day_at(likely),
        due_late=path.day_at(late),
        act_by=_act_by(path, seasons, as_of, 1.0 / band, parameters["salt.lead_days"]),
        wear_share=_wear_share(path, horizon if likely is None else likely),
        extrapolated=bool(flags[path.start : end + 1].any()),
        worn=path.total[path.start : horizon + 2] - path.total[path.start],
        band_factor=band,
    )


def _act_by(
    path: _Path, seasons: Sequence[SaltSeason], as_of: date, cautious_budget: float, lead_days: float
) -> date | None:
    """So many days before the first season that starts after both the forecast and the coat, if it may not last it."""
    begin = max(as_of, path.coat.applied_on)
    season = next((season for season in seasons if season.from_ > begin), None)
    if season is None or path.worn_before(season.to + timedelta(days=1)) < cautious_budget:
        return None
    return season.from_ - timedelta(days=round(lead_days))


def _wear_share(path: _Path, last: int) -> WearShare:
    worn = path.by_cause[:, last + 1] - path.by_cause[:, path.start]
    return WearShare(*(worn / worn.sum()).tolist())
