"""Air: humidity, wetness and frost from readings or monthly normals, the same air inside a store, and road salting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, ndtr

from bookings.rules.types import RoadSalt, Storage
from reminders.protection.bounds import Array
from reminders.protection.types import Climate, MonthDay, Site

Days = NDArray[np.datetime64]
Flags = NDArray[np.bool_]
HOURS_PER_YEAR = 8760.0
# Air minimum that stands in for a road surface at 0–1 °C, at which councils salt (Buckinghamshire: below 0.5 °C).
GRITTING_MINIMUM_C = 1.0
_SALTING_MEMORY_DAYS = 30
MEAN_MONTH_LENGTHS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
# Kept from the worst place to the best; a better place may never come out worse than the one before it.
STORAGE_CHAIN = (Storage.OUTSIDE, Storage.COVERED, Storage.UNHEATED, Storage.HEATED)


def saturation_vapour_pressure_hpa(temperature_c: ArrayLike) -> Array:
    """Over water, also below freezing, as weather services report humidity (Magnus; Alduchov & Eskridge 1996)."""
    warmth = np.asarray(temperature_c, dtype=float)
    return np.asarray(6.1094 * np.exp(17.625 * warmth / (warmth + 243.04)))


def relative_humidity_percent(temperature_c: ArrayLike, dew_point_c: ArrayLike) -> Array:
    """Humidity over water from air and dew-point temperature."""
    return 100.0 * saturation_vapour_pressure_hpa(dew_point_c) / saturation_vapour_pressure_hpa(temperature_c)


def hours_above(temperature_c: ArrayLike, humidity: ArrayLike, limit: float = 80.0, above_c: float = 0.0) -> float:
    """Hours per year with humidity > `limit` and temperature > `above_c`, from hourly readings.

    With the defaults, time of wetness as in ISO 9223. Scaled to 8760 h over the hours that were read (not NaN).
    """
    warmth, humid = np.asarray(temperature_c, dtype=float), np.asarray(humidity, dtype=float)
    read = np.isfinite(warmth) & np.isfinite(humid)
    if not read.any():
        raise ValueError("no hour has both temperature and humidity")
    wet = (humid[read] > limit) & (warmth[read] > above_c)
    return float(wet.mean() * HOURS_PER_YEAR)


def nights_at_most(days: ArrayLike, temperature_c: ArrayLike, limit: float, *, strictly: bool = False) -> int:
    """Days whose lowest reading is at most (`strictly`: below) `limit`; `days` labels each reading's day."""
    labels, warmth = np.asarray(days), np.asarray(temperature_c, dtype=float)
    read = np.isfinite(warmth)
    kept, index = np.unique(labels[read], return_inverse=True)
    lowest = np.full(len(kept), np.inf)
    np.minimum.at(lowest, index, warmth[read])
    return int(np.count_nonzero(lowest < limit if strictly else lowest <= limit))


def wetness_share(temperature_c: ArrayLike, humidity: ArrayLike, wet_above: float = 80.0) -> Array:
    """Share of a month's hours above `wet_above` % from its mean humidity, nil at −10 °C and colder.

    Logistic fit to 202 months warmer than 3 °C of 22 public hourly files (rmse 0.058, mostly Germany) for 80 %;
    moved along the humidity axis for another limit, which is our extrapolation.
    """
    fitted = expit(0.087 * (np.asarray(humidity, dtype=float) + 80.0 - wet_above) - 6.82)
    return np.asarray(fitted * (np.asarray(temperature_c, dtype=float) > -10.0))


def frost_days(climate: Climate, parameters: Mapping[str, float]) -> Array:
    """Twelve monthly counts of days below 0 °C: those reported, else estimated from the mean minimum."""
    if climate.frost_days is not None:
        return np.array(climate.frost_days)
    return frost_share(climate.minimum_temperature_c, parameters) * MEAN_MONTH_LENGTHS


def frost_share(minimum_temperature_c: ArrayLike, parameters: Mapping[str, float]) -> Array:
    """Share of a month's days with frost from its mean daily minimum, normal about it."""
    gap = parameters["salt.frost_offset_c"] - np.asarray(minimum_temperature_c, dtype=float)
    return np.asarray(ndtr(gap / parameters["salt.frost_spread_c"]))


def months_of(days: Days) -> NDArray[np.int64]:
    """Month of each day, 0 for January."""
    return days.astype("datetime64[M]").astype(np.int64) % 12


def by_day(monthly: ArrayLike, days: Days) -> Array:
    """Twelve monthly values drawn linearly from mid-month to mid-month; leap years stretch February."""
    values = np.asarray(monthly, dtype=float)
    month, neighbour, weight = _between_months(days[0], len(days))
    return np.asarray(values[month] + weight * (values[neighbour] - values[month]))


@lru_cache(maxsize=8)
def _between_months(first_day: np.datetime64, count: int) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
    """By day its month, the month whose middle is next to it, and how far it lies towards that, 0 to ½."""
    days = np.arange(first_day, first_day + count)
    starts = days.astype("datetime64[M]")
    first = starts.astype("datetime64[D]")
    lengths = ((starts + 1).astype("datetime64[D]") - first).astype(np.int64)
    offset = ((days - first).astype(np.int64) + 0.5) / lengths - 0.5
    month = starts.astype(np.int64) % 12
    return month, np.where(offset < 0, month - 1, month + 1) % 12, np.abs(offset)


@dataclass(frozen=True)
class Air:
    """Open air by day (°C, percent) and the share of full salting on the roads, 0–1."""

    temperature_c: Array
    humidity: Array
    salting: Array


def open_air(site: Site, days: Days, parameters: Mapping[str, float]) -> Air:
    """Normals drawn to days, with observed days in their place."""
    if not site.observed:
        return _open_air(site, days, parameters)
    # Observed nights before the first day still count towards how salted its roads are.
    air = _open_air(site, np.arange(days[0] - _SALTING_MEMORY_DAYS, days[-1] + 1), parameters)
    return Air(*(column[_SALTING_MEMORY_DAYS:] for column in (air.temperature_c, air.humidity, air.salting)))


def _open_air(site: Site, days: Days, parameters: Mapping[str, float]) -> Air:
    climate = site.climate
    warmth, humid = by_day(climate.temperature_c, days), by_day(climate.relative_humidity_percent, days)
    lowest = np.full(len(days), np.nan)
    for observation in site.observed:
        index = int((np.datetime64(observation.on, "D") - days[0]).astype(np.int64))
        if 0 <= index < len(days):
            warmth[index] = observation.temperature_c
            humid[index] = observation.relative_humidity_percent
            lowest[index] = observation.minimum_temperature_c
    return Air(warmth, humid, _salting(site, days, lowest, parameters))


def _salting(site: Site, days: Days, lowest: Array, parameters: Mapping[str, float]) -> Array:
    """Share of full salting by day; `lowest` are observed minima, NaN where the normals speak."""
    if site.road_salt is RoadSalt.NONE:
        return np.zeros(len(days))
    nights = frost_days(site.climate, parameters) * parameters["salt.gritting_per_frost"]
    share = by_day(np.minimum(1.0, nights / parameters["salt.saturating_nights"]), days)
    if np.isfinite(lowest).any():
        share = _observed_share(share, lowest, parameters["salt.saturating_nights"])
    if site.salt_season is None:
        return share
    # The shop's dates bound the season; inside them frost still sets how much, but never nothing.
    return np.where(_within(site.salt_season, days), np.maximum(share, parameters["salt.season_threshold"]), 0.0)


def _observed_share(share: Array, lowest: Array, saturating_nights: float) -> Array:
    """On observed days, gritted nights of the 30 days up to them; nights at most 1 °C, normals where none was read."""
    observed, span = np.isfinite(lowest), _SALTING_MEMORY_DAYS
    gritted = np.where(observed, lowest <= GRITTING_MINIMUM_C, share * saturating_nights / span)
    padded = np.concatenate([np.full(span, share[0] * saturating_nights / span), gritted])
    total = np.concatenate([[0.0], np.cumsum(padded)])
    counted = total[span + 1 :] - total[1:-span]
    return np.where(observed, np.minimum(1.0, counted / saturating_nights), share)


def _within(season: tuple[MonthDay, MonthDay], days: Days) -> Flags:
    day_of_month = (days - days.astype("datetime64[M]").astype("datetime64[D]")).astype(np.int64) + 1
    key = (months_of(days) + 1) * 100 + day_of_month
    first, last = (month * 100 + day for month, day in season)
    inside = (key >= first) & (key <= last) if first <= last else (key >= first) | (key <= last)
    return np.asarray(inside)


@dataclass(frozen=True)
class Shelter:
    """Air at the bike in one place, and the shares of airborne SO2 and chloride that reach it."""

    temperature_c: Array
    humidity: Array
    so2_share: float
    chloride_share: float


def shelters(air: Air, storage: Storage, parameters: Mapping[str, float]) -> list[Shelter]:
    """The chain from outside to `storage`; vapour pressure indoors is that outdoors."""
    vapour = air.humidity / 100.0 * saturation_vapour_pressure_hpa(air.temperature_c)
    chain = [Shelter(air.temperature_c, air.humidity, 1.0, 1.0)]
    for place in STORAGE_CHAIN[1 : STORAGE_CHAIN.index(storage) + 1]:
        shares = (parameters[f"storage.{place}.so2_share"], parameters[f"storage.{place}.chloride_share"])
        warmth, inside = air.temperature_c, vapour
        if place in (Storage.UNHEATED, Storage.HEATED):
            warmth = warmth + parameters[f"storage.{place}.warming_c"]
        if place is Storage.HEATED:
            warmth = np.maximum(warmth, parameters["storage.heated.floor_c"])
            inside = vapour + parameters["storage.heated.added_vapour_hpa"]
        humid = np.minimum(100.0, 100.0 * inside / saturation_vapour_pressure_hpa(warmth))
        chain.append(Shelter(warmth, humid, *shares))
    return chain


def chloride_kept_wet(shelter: Shelter, parameters: Mapping[str, float]) -> Array:
    """Share of time, 0–1, that salt left on the bike is wet in this air: above the salts' deliquescence humidity."""
    drawing = parameters["brine.hygroscopic_share"]
    parts = (
        (1.0 - drawing, parameters["brine.sodium_deliquescence"]),
        (drawing, parameters["brine.magnesium_deliquescence"]),
    )
    return np.asarray(
        sum(share * wetness_share(shelter.temperature_c, shelter.humidity, limit) for share, limit in parts)
    )
