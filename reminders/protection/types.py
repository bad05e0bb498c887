"""What the protection forecast is told; every input checks itself, naming the field refused. Answers stand beside."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

from bookings.rules.errors import FieldError
from bookings.rules.safety import ForbiddenCoat, check_coat
from bookings.rules.types import CoatKind, RoadSalt, Storage, Zone
from reminders.protection.answers import CoatForecast, Curve, Forecast, SaltSeason, WearShare
from reminders.protection.bounds import (
    CHLORIDE,
    HUMIDITY,
    KM_PER_YEAR,
    KM_READING,
    LIFE_DAYS,
    LOG_RATE,
    LOG_RATE_SD,
    MEAN_C,
    MINIMUM_C,
    MONTH_LENGTHS,
    SO2,
    WASHES_PER_YEAR,
    date_out_of_bounds,
    out_of_bounds,
    refuse,
)

__all__ = [
    "Climate",
    "Coat",
    "CoatForecast",
    "Curve",
    "Forecast",
    "Observation",
    "Reading",
    "SaltSeason",
    "Site",
    "Tour",
    "Use",
    "WearShare",
]

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
    """A coat on a zone; `nominal_life_days` of its product at exposure 1, None for the kind's own.

    `log_rate` is what inspections taught about how much faster than forecast such a coat wears on this bike, as the
    mean of a natural logarithm; `log_rate_sd` its scatter, None while nothing was learnt.
    """

    zone: Zone
    kind: CoatKind
    applied_on: date
    nominal_life_days: float | None = None
    log_rate: float = 0.0
    log_rate_sd: float | None = None

    def __post_init__(self) -> None:
        errors = date_out_of_bounds("applied_on", self.applied_on)
        if self.nominal_life_days is not None:
            errors += out_of_bounds("nominal_life_days", self.nominal_life_days, LIFE_DAYS)
        errors += out_of_bounds("log_rate", self.log_rate, LOG_RATE)
        errors += out_of_bounds("log_rate_sd", self.log_rate_sd or 0.0, LOG_RATE_SD)
        try:
            check_coat(self.zone, self.kind)
        except ForbiddenCoat as forbidden:
            errors.append(FieldError("zone", str(forbidden)))
        refuse(errors)
