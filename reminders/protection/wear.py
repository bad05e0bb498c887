"""What wears a coat, day by day: age, climate, salt, riding and washing.

The dose-response function describes bare steel; using it as a relative load on a film is our assumption. It is
clipped to its published range, and days on which that happened are flagged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from math import sqrt

import numpy as np

from bookings.rules.types import CoatKind, RoadSalt, Zone
from reminders.protection.bounds import Array
from reminders.protection.climate import (
    MEAN_MONTH_LENGTHS,
    Air,
    Days,
    Flags,
    Shelter,
    chloride_kept_wet,
    months_of,
    open_air,
    shelters,
)
from reminders.protection.corrosivity import (
    CHLORIDE_RANGE,
    HUMIDITY_RANGE,
    REFERENCE_RATE,
    TEMPERATURE_RANGE_C,
    clipped_steel_rate,
    outside_range,
)
from reminders.protection.types import Site, Tour, Use

DAYS_PER_YEAR = 365.25
CAUSES = ("age", "climate", "salt", "riding", "washing")
# A full treatment leaves nothing of the salt: e^−50.
_CLEANED = 50.0


@dataclass(frozen=True, eq=False)
class Load:
    """What acts on a bike on each of `days`, whatever its coats; shared by all coats of one site and pattern of use.

    `road_chloride` and `kept_chloride` are mg/(m²·day) at spray 1: thrown up that day, and left on the bike.
    """

    days: Days
    air: Air
    chain: tuple[Shelter, ...]
    site: Site
    road_chloride: Array
    kept_chloride: Array
    km: Array
    washes: Array
    parameters: Mapping[str, float]
    _by_spray: dict[float, Array] = field(default_factory=dict, init=False, repr=False)

    def exposure(self, spray: float) -> Array:
        """Relative exposure by day at a place that catches `spray`; 0 is the same place without any road salt.

        The least of the chain from outside to the bike's place: the function is not monotone in warming and would
        else rank some heated rooms below unheated ones.
        """
        if spray not in self._by_spray:
            worst_to_best = [self._rate(shelter, spray) for shelter in self.chain]
            self._by_spray[spray] = np.minimum.reduce(worst_to_best) / REFERENCE_RATE
        return self._by_spray[spray]

    def _rate(self, shelter: Shelter, spray: float) -> Array:
        chloride = self.site.chloride_deposition_mg_m2_day * shelter.chloride_share + spray * self._salt(shelter)
        so2 = self.site.so2_deposition_mg_m2_day * shelter.so2_share
        return clipped_steel_rate(shelter.temperature_c, shelter.humidity, so2, chloride)

    def _salt(self, shelter: Shelter) -> Array:
        """Salt thrown up while riding counts in full; salt left on counts while this air keeps it wet."""
        return np.maximum(self.road_chloride, self.kept_chloride * chloride_kept_wet(shelter, self.parameters))

    def extrapolated(self, spray: float) -> Flags:
        """Days on which the open air, the air at the bike or its salt leave the published range.

        Shares of deposition that a roof keeps off are not flagged for being small.
        """
        site, inside = self.site, self.chain[-1]
        chloride = site.chloride_deposition_mg_m2_day
        outside = outside_range(self.air.temperature_c, self.air.humidity, site.so2_deposition_mg_m2_day, chloride)
        indoors = (
            (inside.temperature_c < TEMPERATURE_RANGE_C[0])
            | (inside.temperature_c > TEMPERATURE_RANGE_C[1])
            | (inside.humidity < HUMIDITY_RANGE[0])
            | (inside.humidity > HUMIDITY_RANGE[1])
        )
        return np.asarray(outside | indoors | (chloride + spray * self._salt(inside) > CHLORIDE_RANGE[1]))


def load(
    site: Site, use: Use, days: Days, as_of: date, parameters: Mapping[str, float], cleaned_on: Iterable[date] = ()
) -> Load:
    """Everything by day for one site and use; `days` are consecutive, `cleaned_on` days leave no salt on the bike."""
    air = open_air(site, days, parameters)
    km = riding_km(use, days)
    road = _road_chloride(site, use, air, km, days, parameters)
    return Load(
        days,
        air,
        tuple(shelters(air, use.storage, parameters)),
        site,
        road,
        _kept_chloride(road, use, days, parameters, cleaned_on),
        km,
        washes(use, days, as_of),
        parameters,
    )


def _index(days: Days, day: date) -> int:
    return int((np.datetime64(day, "D") - days[0]).astype(np.int64))


def _span(days: Days, first: date, after: date) -> slice:
    """Indices of the days from `first` to before `after` that lie on the grid."""
    start, stop = (min(max(_index(days, day), 0), len(days)) for day in (first, after))
    return slice(start, stop)


def _tour_span(days: Days, tour: Tour) -> slice:
    return _span(days, tour.from_, tour.to + timedelta(days=1))


def riding_km(use: Use, days: Days) -> Array:
    """Kilometres by day: the yearly figure over the riding months, then tours, then odometer readings over both.

    `days` must not start inside an interval between two readings: it would be given the kilometres of the whole.
    """
    ridden = np.isin(months_of(days) + 1, list(use.riding_months))
    days_a_year = sum(MEAN_MONTH_LENGTHS[month - 1] for month in use.riding_months)
    km = ridden * (use.km_per_year / days_a_year if use.riding_months else 0.0)
    touring = np.zeros(len(days))
    on_tour = np.zeros(len(days), dtype=bool)
    for tour in use.tours:
        span = _tour_span(days, tour)
        touring[span] += tour.km / ((tour.to - tour.from_).days + 1)
        on_tour[span] = True
    km = np.where(on_tour, touring, km)
    for before, after in pairwise(use.odometer):
        span = _span(days, before.on, after.on)
        km[span] = _share_of_interval(touring[span], on_tour[span], ridden[span], after.km - before.km)
    return km


def _share_of_interval(touring: Array, on_tour: Flags, ridden: Flags, total: float) -> Array:
    """Spread what the odometer counted: tours first, the rest over other days of the riding months, else over all."""
    toured = float(touring.sum())
    if toured >= total:
        return touring * (total / toured if toured else 0.0)
    free = next((mask for mask in (ridden & ~on_tour, ~on_tour) if mask.any()), on_tour)
    return touring + free * ((total - toured) / max(int(free.sum()), 1))


def washes(use: Use, days: Days, as_of: date) -> Array:
    """Washes by day: the yearly figure spread evenly; from the first recorded wash to `as_of` only those recorded."""
    count = np.full(len(days), use.washes_per_year / DAYS_PER_YEAR)
    if use.washed_on:
        count[_span(days, min(use.washed_on), as_of + timedelta(days=1))] = 0.0
        for day in use.washed_on:
            if 0 <= (index := _index(days, day)) < len(days):
                count[index] += 1.0
    return count


def _road_chloride(site: Site, use: Use, air: Air, km: Array, days: Days, parameters: Mapping[str, float]) -> Array:
    """Salt thrown up by day; a tour says itself whether its roads were salted, at normal rates where home has none."""
    at_home = 0.0 if site.road_salt is RoadSalt.NONE else parameters[f"salt.{site.road_salt}.deposition"]
    road = at_home * air.salting * (km > 0)
    for salted in (False, True):
        for tour in use.tours:
            if tour.salted is salted:
                road[_tour_span(days, tour)] = (at_home or parameters["salt.normal.deposition"]) if salted else 0.0
    return road * (1.0 - parameters["salt.rinsed_share"])


def _kept_chloride(
    road: Array, use: Use, days: Days, parameters: Mapping[str, float], cleaned_on: Iterable[date]
) -> Array:
    """Salt still on the bike: each day's salt decays with a half-life and at recorded washes; the most of it counts.

    A maximum rather than a sum, because a day's deposition is a level of soiling, not a heap. Washes only hoped for
    take nothing off. Solved without a loop: a running maximum of log salt + decay so far.
    """
    half_life = parameters["brine.half_life_days"]
    if half_life <= 0 or not road.any():
        return np.zeros(len(road))
    decay = np.full(len(road), np.log(2.0) / half_life)
    rinsed = min(-np.log1p(-min(parameters["brine.washed_off_share"], 0.999999)), _CLEANED)
    for dates, taken in ((use.washed_on, rinsed), (cleaned_on, _CLEANED)):
        for day in dates:
            if 0 <= (index := _index(days, day)) < len(days):
                decay[index] += taken
    so_far = np.cumsum(decay)
    salt = np.full(len(road), -np.inf)
    np.log(road, out=salt, where=road > 0)
    return np.asarray(np.exp(np.maximum.accumulate(salt + so_far) - so_far))


def wear_by_cause(acting: Load, zone: Zone, kind: CoatKind, nominal_life_days: float | None = None) -> Array:
    """Share of a coat used up by day and cause: shape (5, days), rows in the order of CAUSES."""
    parameters = acting.parameters
    life = nominal_life_days or parameters[f"coat.{kind}.nominal_life_days"]
    age_share = parameters[f"coat.{kind}.age_share"]
    spray = parameters[f"zone.{zone}.spray"]
    without_salt, exposed = acting.exposure(0.0), acting.exposure(spray)
    by_exposure = (1.0 - age_share) / life
    return np.stack(
        [
            np.full(len(acting.days), age_share * parameters[f"zone.{zone}.heat"] / life),
            by_exposure * without_salt,
            by_exposure * (exposed - without_salt),
            acting.km / parameters[f"coat.{kind}.life_km"] * (0.5 + 0.5 * spray),
            acting.washes / parameters[f"coat.{kind}.life_washes"],
        ]
    )


def band_log_sd(kind: CoatKind, parameters: Mapping[str, float]) -> float:
    """Scatter of a coat's rate, as a log standard deviation: exposure scaled by its share, and the product's own."""
    exposure = (1.0 - parameters[f"coat.{kind}.age_share"]) * parameters["band.exposure_log_sd"]
    return sqrt(exposure**2 + parameters["band.product_log_sd"] ** 2)


def accumulated(wear: Array) -> Array:
    """Wear before each day, and after the last: one column more than `wear`, along the last axis."""
    total = np.zeros((*wear.shape[:-1], wear.shape[-1] + 1))
    np.cumsum(wear, axis=-1, out=total[..., 1:])
    return total


def first_days_reaching(total: Array, starts: np.ndarray, budget: float | Array) -> np.ndarray:
    """For coats put on at the indices `starts`: index of the day by whose end `budget` is used up.

    `total` is a row of `accumulated`, never falling. An index of len(total) − 1 or more lies past the horizon.
    """
    return np.asarray(np.searchsorted(total, total[starts] + budget, side="left") - 1)
