"""What the protection forecast is told and what it answers. Every input checks itself, naming the field refused."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bookings.rules.errors import FieldError
from bookings.rules.safety import ForbiddenCoat, check_coat
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.bounds import (
    CHLORIDE,
    HUMIDITY,
    KM_PER_YEAR,
    KM_READING,
    LIFE_DAYS,
    MEAN_C,
    MINIMUM_C,
    MONTH_LENGTHS,
    SO2,
    WASHES_PER_YEAR,
    date_out_of_bounds,
    out_of_bounds,
    refuse,
)

Array = NDArray[np.float64]
MonthDay = tuple[int, int]


@dataclass(frozen=True)
class Climate:
    """Monthly normals of the open air, January first: °C, percent, and days a month with a minimum < 0 °C."""

    temperature_c: tuple[float, ...]
    relative_humidity_percent: tuple[float, ...]
    minimum_temperature_c: tuple[float, ...]
    frost_days: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        errors = [
            *_twelve("temperature_c", self.temperature_c, [MEAN_C] * 12),
            *_twelve("relative_humidity_percent", self.relative_humidity_percent, [HUMIDITY] * 12),
            *_twelve("minimum_temperature_c", self.minimum_temperature_c, [MINIMUM_C] * 12),
        ]
        if self.frost_days is not None:
            errors += _twelve("frost_days", self.frost_days, [(0.0, float(length)) for length in MONTH_LENGTHS])
        if not errors:
            pairs = zip(self.temperature_c, self.minimum_temperature_c, strict=True)
            errors = [
                FieldError(f"minimum_temperature_c[{month}]", "must not lie above the mean temperature of its month")
                for month, (mean, minimum) in enumerate(pairs)
                if minimum > mean
            ]
        refuse(errors)

    @classmethod
    def from_rows(cls, rows: Iterable[Mapping[str, float | None]]) -> Climate:
        """Twelve rows with the keys of the fields, January first; frost days count only when no month lacks them."""
        months = list(rows)
        columns: dict[str, Any] = {
            name: tuple(month.get(name) for month in months)
            for name in ("temperature_c", "relative_humidity_percent", "minimum_temperature_c", "frost_days")
        }
        if None in columns["frost_days"]:
            columns["frost_days"] = None
        refuse(
            FieldError(f"{name}[{month}]", "is missing")
            for name, column in columns.items()
            if column is not None
            for month, value in enumerate(column)
            if value is None
        )
        return cls(**columns)


def _twelve(name: str, values: tuple[float, ...], bounds: list[tuple[float, float]]) -> list[FieldError]:
    if len(values) != 12:
        return [FieldError(name, f"needs twelve values, January first, not {len(values)}")]
    checks = zip(values, bounds, strict=True)
    return [
        error for month, (value, pair) in enumerate(checks) for error in out_of_bounds(f"{name}[{month}]", value, pair)
    ]


@dataclass(frozen=True)
class Observation:
    """The weather of one past day in the open air: mean and minimum in °C, mean humidity in percent."""

    on: date
    temperature_c: float
    minimum_temperature_c: float
    relative_humidity_percent: float

    def __post_init__(self) -> None:
        errors = [
            *date_out_of_bounds("on", self.on),
            *out_of_bounds("temperature_c", self.temperature_c, MEAN_C),
            *out_of_bounds("minimum_temperature_c", self.minimum_temperature_c, MINIMUM_C),
            *out_of_bounds("relative_humidity_percent", self.relative_humidity_percent, HUMIDITY),
        ]
        if not errors and self.minimum_temperature_c > self.temperature_c:
            errors = [FieldError("minimum_temperature_c", "must not lie above the mean temperature of the day")]
        refuse(errors)


@dataclass(frozen=True)
class Site:
    """Where a bike lives. Depositions are annual means in mg/(m²·day), of SO2 and of chloride away from roads.

    `road_salt` is the shop's word, never inferred from the climate. `salt_season` is an optional first and last
    (month, day) that replaces the season inferred from frost. `observed` days replace the normals on their dates.
    """

    climate: Climate
    road_salt: RoadSalt
    so2_deposition_mg_m2_day: float
    chloride_deposition_mg_m2_day: float
    salt_season: tuple[MonthDay, MonthDay] | None = None
    observed: tuple[Observation, ...] = ()

    def __post_init__(self) -> None:
        errors = [
            *out_of_bounds("so2_deposition_mg_m2_day", self.so2_deposition_mg_m2_day, SO2),
            *out_of_bounds("chloride_deposition_mg_m2_day", self.chloride_deposition_mg_m2_day, CHLORIDE),
        ]
        for month, day in self.salt_season or ():
            if not (1 <= month <= 12 and 1 <= day <= MONTH_LENGTHS[month - 1]):
                errors.append(FieldError("salt_season", f"no such day in any year: month {month}, day {day}"))
        if len({observation.on for observation in self.observed}) != len(self.observed):
            errors.append(FieldError("observed", "has a day twice"))
        refuse(errors)


@dataclass(frozen=True)
class Tour:
    """So many km between two days, both included; `salted` when the roads were."""

    from_: date
    to: date
    km: float
    salted: bool

    def __post_init__(self) -> None:
        errors = [*date_out_of_bounds("from", self.from_), *date_out_of_bounds("to", self.to)]
        errors += out_of_bounds("km", self.km, (0.0, 100_000.0))
        if not errors and self.to < self.from_:
            errors = [FieldError("to", "must not lie before the first day of the tour")]
        if not errors and (self.to - self.from_).days > 1100:
            errors = [FieldError("to", "a tour lasts at most three years")]
        refuse(errors)


@dataclass(frozen=True)
class Reading:
    """What the odometer said."""

    on: date
    km: float

    def __post_init__(self) -> None:
        refuse([*date_out_of_bounds("on", self.on), *out_of_bounds("km", self.km, KM_READING)])


@dataclass(frozen=True)
class Use:
    """How a bike is kept. Assumptions by year; tours, readings and washes replace them where they speak.

    Recorded washes are taken as complete from the first of them to the day of the forecast.
    """

    storage: Storage
    riding_months: frozenset[int]
    km_per_year: float
    washes_per_year: float
    tours: tuple[Tour, ...] = ()
    odometer: tuple[Reading, ...] = ()
    washed_on: tuple[date, ...] = ()

    def __post_init__(self) -> None:
        errors = [
            *out_of_bounds("km_per_year", self.km_per_year, KM_PER_YEAR),
            *out_of_bounds("washes_per_year", self.washes_per_year, WASHES_PER_YEAR),
        ]
        if not self.riding_months <= set(range(1, 13)):
            errors.append(FieldError("riding_months", "months are numbered 1 to 12"))
        elif not self.riding_months and self.km_per_year > 0:
            errors.append(FieldError("riding_months", "name at least one month, or give 0 km per year"))
        for index, day in enumerate(self.washed_on):
            errors += date_out_of_bounds(f"washed_on[{index}]", day)
        refuse([*errors, *self._odometer_errors()])

    def _odometer_errors(self) -> Iterable[FieldError]:
        for index, (before, after) in enumerate(pairwise(self.odometer), start=1):
            if after.on <= before.on:
                yield FieldError(f"odometer[{index}].on", "readings must follow each other by date, one a day")
            elif after.km < before.km:
                yield FieldError(
                    f"odometer[{index}].km", "reads less than before; leave out readings of an old odometer"
                )


@dataclass(frozen=True)
class Coat:
    """A coat on a zone; `nominal_life_days` of its product at exposure 1, None for the kind's own."""

    zone: Zone
    kind: CoatKind
    applied_on: date
    nominal_life_days: float | None = None

    def __post_init__(self) -> None:
        errors = date_out_of_bounds("applied_on", self.applied_on)
        if self.nominal_life_days is not None:
            errors += out_of_bounds("nominal_life_days", self.nominal_life_days, LIFE_DAYS)
        try:
            check_coat(self.zone, self.kind)
        except ForbiddenCoat as forbidden:
            errors.append(FieldError("zone", str(forbidden)))
        refuse(errors)


@dataclass(frozen=True)
class WearShare:
    """Which share of a coat's wear each cause has, from the day it went on to the day it is likely due; sums to 1."""

    age: float
    climate: float
    salt: float
    riding: float
    washing: float


@dataclass(frozen=True)
class SaltSeason:
    """First and last day on which roads are likely salted."""

    from_: date
    to: date


@dataclass(frozen=True)
class Curve:
    """Protection left, 0–1, at the start of each of `dates`: by the likely rate, a faster and a slower one."""

    dates: tuple[date, ...]
    likely: tuple[float, ...]
    early: tuple[float, ...]
    late: tuple[float, ...]


@dataclass(frozen=True)
class CoatForecast:
    """When a coat is due again, an estimate; due days are None past the horizon.

    `act_by` is set when the coat's cautious end would not outlast the first salt season that starts after the
    day of the forecast; it may lie in the past, and then it is high time. `extrapolated` says that some input
    left the range in which the dose-response function was published.
    """

    zone: Zone
    kind: CoatKind
    applied_on: date
    protection_left: float
    due_early: date | None
    due_likely: date | None
    due_late: date | None
    act_by: date | None
    wear_share: WearShare
    extrapolated: bool
    worn: Array = field(repr=False, compare=False)
    band_factor: float = field(repr=False, compare=False)

    def protection_curve(self, step_days: int = 7) -> Curve:
        """Sampled from the day the coat went on until it is late due or the horizon ends."""
        if step_days < 1:
            raise ValueError("step_days must be at least 1")
        last = (self.due_late - self.applied_on).days + 1 if self.due_late else len(self.worn) - 1
        steps = np.unique(np.append(np.arange(0, last, step_days), last))

        def left(factor: float) -> tuple[float, ...]:
            return tuple(np.clip(1.0 - self.worn[steps] * factor, 0.0, 1.0).tolist())

        dates = tuple(self.applied_on + timedelta(days=int(step)) for step in steps)
        return Curve(dates, left(1.0), left(self.band_factor), left(1.0 / self.band_factor))


@dataclass(frozen=True)
class Forecast:
    """The answer for one bike; `salt_season` is the one that runs on the day of the forecast, else the next."""

    coats: tuple[CoatForecast, ...]
    salt_season: SaltSeason | None
    model_version: str
