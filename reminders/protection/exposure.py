"""What the air and the salt of a place do to bare steel by day, relative to a reference: the load on a film.

The dose-response function describes bare steel; using it as a relative load on a film is our assumption. It is
clipped to its published range, and days on which that happened are flagged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bookings.rules.types import Storage
from reminders.protection.bounds import Array
from reminders.protection.climate import (
    STORAGE_CHAIN,
    Air,
    Days,
    Flags,
    Shelter,
    chloride_kept_wet,
    open_air,
    shelters,
)
from reminders.protection.corrosivity import (
    CHLORIDE_RANGE,
    DOSE_RESPONSE,
    HUMIDITY_RANGE,
    REFERENCE_RATE,
    SO2_RANGE,
    TEMPERATURE_RANGE_C,
    Metal,
    outside_range,
)
from reminders.protection.types import Site

_STEEL = DOSE_RESPONSE[Metal.STEEL]
_ALL = slice(None)


@dataclass(frozen=True, eq=False)
class Place:
    """One place between the open air and the bike, by day, worked out as far as it goes without knowing the salt.

    `without_chloride` and `per_chloride` are the parts of the relative exposure, `kept_wet` the share of time, 0–1,
    that salt left on a bike here is wet, `airborne` the chloride of the air in mg/(m²·day).
    """

    without_chloride: Array
    per_chloride: Array
    kept_wet: Array
    airborne: float

    def salt(self, thrown_up: Array, kept: Array, at: slice | np.ndarray = _ALL) -> Array:
        """Salt thrown up while riding counts in full; salt left on counts while this air keeps it wet."""
        return np.maximum(thrown_up, kept * self.kept_wet[at])

    def exposure(self, salt: Array | float, at: slice | np.ndarray = _ALL) -> Array:
        """Relative exposure under `salt`, mg/(m²·day) of chloride that the spot itself catches."""
        chloride = np.minimum(np.maximum(salt + self.airborne, CHLORIDE_RANGE[0]), CHLORIDE_RANGE[1])
        return np.asarray(self.without_chloride[at] + self.per_chloride[at] * chloride**_STEEL.q)


def _place(site: Site, shelter: Shelter, parameters: Mapping[str, float]) -> Place:
    warmth = np.clip(shelter.temperature_c, *TEMPERATURE_RANGE_C)
    humid = np.clip(shelter.humidity, *HUMIDITY_RANGE)
    so2 = np.clip(site.so2_deposition_mg_m2_day * shelter.so2_share, *SO2_RANGE)
    return Place(
        _STEEL.without_chloride(warmth, humid, so2) / REFERENCE_RATE,
        _STEEL.per_chloride(warmth, humid) / REFERENCE_RATE,
        chloride_kept_wet(shelter, parameters),
        site.chloride_deposition_mg_m2_day * shelter.chloride_share,
    )


@dataclass(frozen=True, eq=False)
class Surroundings:
    """A site on each of `days`, the same for all who live there: its open air, and the places from worst to best."""

    site: Site
    days: Days
    air: Air
    shelters: tuple[Shelter, ...]
    places: tuple[Place, ...]

    def outside_range(self, storage: Storage, salt: Array) -> Flags:
        """Days on which the open air, the air at the bike or its `salt` leave the published range.

        Shares of deposition that a roof keeps off are not flagged for being small.
        """
        site, inside = self.site, self.shelters[STORAGE_CHAIN.index(storage)]
        chloride = site.chloride_deposition_mg_m2_day
        outside = outside_range(self.air.temperature_c, self.air.humidity, site.so2_deposition_mg_m2_day, chloride)
        indoors = (
            (inside.temperature_c < TEMPERATURE_RANGE_C[0])
            | (inside.temperature_c > TEMPERATURE_RANGE_C[1])
            | (inside.humidity < HUMIDITY_RANGE[0])
            | (inside.humidity > HUMIDITY_RANGE[1])
        )
        return np.asarray(outside | indoors | (chloride + salt > CHLORIDE_RANGE[1]))


def surroundings(
    site: Site, days: Days, parameters: Mapping[str, float], storage: Storage = Storage.HEATED
) -> Surroundings:
    """A site by day, with the places from outside to `storage`; `days` are consecutive."""
    air = open_air(site, days, parameters)
    chain = tuple(shelters(air, storage, parameters))
    return Surroundings(site, days, air, chain, tuple(_place(site, shelter, parameters) for shelter in chain))
