"""Bounds of the plausible for everything the forecast is told, and how a value beyond them is refused."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date

import numpy as np
from numpy.typing import NDArray

from bookings.rules.errors import FieldError, InputErrors

Array = NDArray[np.float64]

MONTH_LENGTHS = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
FIRST_DATE, LAST_DATE = date(1970, 1, 1), date(2150, 1, 1)
# Bounds of the plausible, wider than any place people ride in; they catch slips of unit (°F, Pa, shares for percent).
MEAN_C, MINIMUM_C, HUMIDITY = (-60.0, 45.0), (-75.0, 40.0), (5.0, 100.0)
SO2, CHLORIDE = (0.0, 1000.0), (0.0, 5000.0)
KM_PER_YEAR, WASHES_PER_YEAR, KM_READING, LIFE_DAYS = (
    (0.0, 250_000.0),
    (0.0, 366.0),
    (0.0, 3_000_000.0),
    (1.0, 20_000.0),
)
# Learnt rates beyond twenty times the forecast, either way, are slips of grading.
LOG_RATE, LOG_RATE_SD = (-3.0, 3.0), (0.0, 2.0)


def out_of_bounds(name: str, value: float, bounds: tuple[float, float]) -> list[FieldError]:
    """One FieldError when `value` is no finite number within `bounds`, both ends allowed."""
    if math.isfinite(value) and bounds[0] <= value <= bounds[1]:
        return []
    return [FieldError(name, f"must be a number from {bounds[0]:g} to {bounds[1]:g}, not {value:g}")]


def date_out_of_bounds(name: str, day: date) -> list[FieldError]:
    """One FieldError when `day` lies outside the years the forecast reckons in."""
    if FIRST_DATE <= day < LAST_DATE:
        return []
    return [FieldError(name, f"must lie from {FIRST_DATE} to before {LAST_DATE}, not {day}")]


def refuse(errors: Iterable[FieldError]) -> None:
    """Raise InputErrors when there is anything to refuse."""
    found = list(errors)
    if found:
        raise InputErrors(found)
