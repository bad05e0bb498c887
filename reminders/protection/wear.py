"""What wears a coat, day by day: age, climate, salt, riding and washing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise
from math import sqrt

import numpy as np

from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.bounds import Array
from reminders.protection.climate import MEAN_MONTH_LENGTHS, STORAGE_CHAIN, Air, Days, Flags, months_of
from reminders.protection.exposure import Surroundings, surroundings
from reminders.protection.salt_left import SaltLeft, salt_left
from reminders.protection.types import Site, Tour, Use

DAYS_PER_YEAR = 365.25
CAUSES = ("age", "climate", "salt", "riding", "washing")


@dataclass(frozen=True, eq=False)
class Load:
    """What acts on a bike by day, whatever its coats; shared by all coats of one site and pattern of use.

    `road_chloride` is what is thrown up that day, mg/(m²·day) at spray 1; `salt_left` what stays, None if nothing.
    """

    around: Surroundings
    storage: Storage
    road_chloride: Array
    salt_left: SaltLeft | None
    km: Array
    washes: Array
    parameters: Mapping[str, float]
    _exposures: dict[tuple[float, int], Array] = field(default_factory=dict, repr=False)
    _salts: dict[int, Array] = field(default_factory=dict, repr=False)

    @property
    def days(self) -> Days:
        return self.around.days

    @cached_property
    def kept_chloride(self) -> Array:
        """Chloride left on the bike, mg/(m²·day) at spray 1."""
        return np.zeros(len(self.days)) if self.salt_left is None else self.salt_left.level

    def stored(self, storage: Storage) -> Load:
        """The same riding, kept elsewhere; what was worked out for one is there for the other."""
        return replace(self, storage=storage)

    def exposure(self, spray: float) -> Array:
        """Relative exposure by day at a place that catches `spray`; 0 is the same place without any road salt.

        The least of the chain from outside to the bike's place: the function is not monotone in warming and would
        else rank some heated rooms below unheated ones.
        """
        return self._exposure(spray if self.road_chloride.any() else 0.0, STORAGE_CHAIN.index(self.storage))

    def _exposure(self, spray: float, place: int) -> Array:
        if (spray, place) not in self._exposures:
            here = self.around.places[place].exposure(spray * self._salt(place) if spray else 0.0)
            self._exposures[spray, place] = np.minimum(self._exposure(spray, place - 1), here) if place else here
        return self._exposures[spray, place]

    def _salt(self, place: int) -> Array:
        if place not in self._salts:
            self._salts[place] = self.around.places[place].salt(self.road_chloride, self.kept_chloride)
        return self._salts[place]

    def exposure_since_cleaned(self, left: SaltLeft, index: np.ndarray, spray: Array) -> Array:
        """As `exposure`, on rows of consecutive days before which the bike was clean; `spray` is a column."""
        kept, thrown_up = left.level_since(index), self.road_chloride[index]
        chain = self.around.places[: STORAGE_CHAIN.index(self.storage) + 1]
        return np.minimum.reduce([place.exposure(spray * place.salt(thrown_up, kept, index), index) for place in chain])

    def extrapolated(self, spray: float) -> Flags:
        """Days on which some input leaves the range in which the dose-response function was published."""
        return self.around.outside_range(self.storage, spray * self._salt(STORAGE_CHAIN.index(self.storage)))


def load(
    site: Site,
    use: Use,
    days: Days,
    as_of: date,
    parameters: Mapping[str, float],
    cleaned_on: Iterable[date] = (),
    around: Surroundings | None = None,
) -> Load:
    """Everything by day for one site and use; `days` are consecutive, `cleaned_on` days leave no salt on the bike.

    `around` is the site on those days where it is known already.
    """
    around = around or surroundings(site, days, parameters, use.storage)
    km = riding_km(use, days)
    road = _road_chloride(site, use, around.air, km, days, parameters)
    left = salt_left(road, days, use.washed_on, cleaned_on, parameters)
    return Load(around, use.storage, road, left, km, washes(use, days, as_of), parameters)


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

    An interval between two readings that began before `days` gives them only its share.
    """
    first = days[0].astype(date)
    before = max((reading.on for reading in use.odometer if reading.on < first), default=first)
    return _riding_km(use, np.arange(np.datetime64(before, "D"), days[-1] + 1))[-len(days) :]


def _riding_km(use: Use, days: Days) -> Array:
    ridden = np.array([month in use.riding_months for month in range(1, 13)])[months_of(days)]
    days_a_year = sum(MEAN_MONTH_LENGTHS[month - 1] for month in use.riding_months)
    km = ridden * (use.km_per_year / days_a_year if use.riding_months else 0.0)
    if use.tours or use.odometer:
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
    return np.asarray(km)


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
