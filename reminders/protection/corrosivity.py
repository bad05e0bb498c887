"""ISO 9223 dose-response functions and categories, ISO 9224 long-term loss.

All figures are second-hand (no copy of the ISO texts was at hand): steel and zinc as transcribed in at least two
independent public sources, among them github.com/Institute-of-Surface-Science/CorWiz at 0a8c7795 (MIT); copper and
aluminium as transcribed in one. They hold for open outdoor exposure and annual means. Check them against
ISO 9223:2012 and ISO 9224:2012 before claiming conformity.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from reminders.protection.bounds import CHLORIDE, HUMIDITY, MEAN_C, SO2, Array, out_of_bounds, refuse


class Metal(StrEnum):
    """The four standard metals."""

    STEEL = "steel"
    ZINC = "zinc"
    COPPER = "copper"
    ALUMINIUM = "aluminium"


@dataclass(frozen=True)
class DoseResponse:
    """r = a·Pd^p·exp(k·RH + f(T)) + c·Sd^q·exp(m·RH + n·T), f = cold·(T−10) up to 10 °C, warm·(T−10) above."""

    a: float
    p: float
    k: float
    cold: float
    warm: float
    c: float
    q: float
    m: float
    n: float
    category_limits: tuple[float, ...]
    mean_exponent: float
    cautious_exponent: float

    def without_chloride(self, temperature_c: ArrayLike, humidity: ArrayLike, so2: ArrayLike) -> Array:
        """The first term: loss in air that carries SO2 alone."""
        warmth, humid = np.asarray(temperature_c, dtype=float), np.asarray(humidity, dtype=float)
        bend = np.where(warmth <= 10.0, self.cold, self.warm) * (warmth - 10.0)
        return np.asarray(self.a * np.asarray(so2, dtype=float) ** self.p * np.exp(self.k * humid + bend))

    def per_chloride(self, temperature_c: ArrayLike, humidity: ArrayLike) -> Array:
        """What Sd^q is multiplied with in the second term."""
        warmth, humid = np.asarray(temperature_c, dtype=float), np.asarray(humidity, dtype=float)
        return np.asarray(self.c * np.exp(self.m * humid + self.n * warmth))

    def rate(self, temperature_c: ArrayLike, humidity: ArrayLike, so2: ArrayLike, chloride: ArrayLike) -> Array:
        """First-year loss in µm per year (aluminium: g/m² per year), arrays broadcast, nothing clipped.

        °C, percent, and mg/(m²·day) of SO2 and chloride.
        """
        salt = self.per_chloride(temperature_c, humidity) * np.asarray(chloride, dtype=float) ** self.q
        return np.asarray(self.without_chloride(temperature_c, humidity, so2) + salt)


# Limits are the upper ends of C1…C5 and CX; aluminium's C1 is "negligible" and its CX has no upper end.
DOSE_RESPONSE: Mapping[Metal, DoseResponse] = MappingProxyType(
    {
        Metal.STEEL: DoseResponse(
            *(1.77, 0.52, 0.020, 0.150, -0.054, 0.102, 0.62, 0.033, 0.040),
            category_limits=(1.3, 25.0, 50.0, 80.0, 200.0, 700.0),
            mean_exponent=0.523,
            cautious_exponent=0.575,
        ),
        Metal.ZINC: DoseResponse(
            *(0.0129, 0.44, 0.046, 0.038, -0.071, 0.0175, 0.57, 0.008, 0.085),
            category_limits=(0.1, 0.7, 2.1, 4.2, 8.4, 25.0),
            mean_exponent=0.813,
            cautious_exponent=0.873,
        ),
        Metal.COPPER: DoseResponse(
            *(0.0053, 0.26, 0.059, 0.126, -0.080, 0.01025, 0.27, 0.036, 0.049),
            category_limits=(0.1, 0.6, 1.3, 2.8, 5.6, 10.0),
            mean_exponent=0.667,
            cautious_exponent=0.726,
        ),
        Metal.ALUMINIUM: DoseResponse(
            *(0.0042, 0.73, 0.025, 0.009, -0.043, 0.0018, 0.60, 0.020, 0.094),
            category_limits=(0.0, 0.6, 2.0, 5.0, 10.0, np.inf),
            mean_exponent=0.728,
            cautious_exponent=0.807,
        ),
    }
)
CATEGORIES = ("C1", "C2", "C3", "C4", "C5", "CX")
# Ranges of the data behind the functions (ISO 9223, transcribed in three sources).
TEMPERATURE_RANGE_C, HUMIDITY_RANGE, SO2_RANGE, CHLORIDE_RANGE = (-17.1, 28.7), (34.0, 93.0), (0.7, 150.4), (0.4, 760.5)
# Relative exposure 1: steel at 10 °C, 75 %, 5 and 3 mg/(m²·day), 21.9 µm per year, in the upper part of C2.
REFERENCE_RATE = float(DOSE_RESPONSE[Metal.STEEL].rate(10.0, 75.0, 5.0, 3.0))


def category(metal: Metal, rate: float) -> str:
    """ISO 9223 category of an annual open-air loss; a limit belongs to the lower class, all above C5 is CX."""
    limits = DOSE_RESPONSE[metal].category_limits[:-1]
    return CATEGORIES[int(np.searchsorted(limits, rate, side="left"))]


def outside_range(temperature_c: ArrayLike, humidity: ArrayLike, so2: ArrayLike, chloride: ArrayLike) -> np.ndarray:
    """Element-wise: does any input leave the published range?"""
    pairs = (
        (temperature_c, TEMPERATURE_RANGE_C),
        (humidity, HUMIDITY_RANGE),
        (so2, SO2_RANGE),
        (chloride, CHLORIDE_RANGE),
    )
    return np.logical_or.reduce(
        np.broadcast_arrays(*((np.asarray(v) < low) | (np.asarray(v) > high) for v, (low, high) in pairs))
    )


@dataclass(frozen=True)
class Corrosivity:
    """First-year losses of a place; `extrapolated` when an input or steel's result leaves the published range."""

    rates: Mapping[Metal, float]
    categories: Mapping[Metal, str]
    extrapolated: bool


def corrosivity(
    temperature_c: float,
    relative_humidity_percent: float,
    so2_deposition_mg_m2_day: float,
    chloride_deposition_mg_m2_day: float,
) -> Corrosivity:
    """Annual means of an open-air site → losses of the four metals, unclipped. Raises InputErrors."""
    refuse(
        [
            *out_of_bounds("temperature_c", temperature_c, MEAN_C),
            *out_of_bounds("relative_humidity_percent", relative_humidity_percent, HUMIDITY),
            *out_of_bounds("so2_deposition_mg_m2_day", so2_deposition_mg_m2_day, SO2),
            *out_of_bounds("chloride_deposition_mg_m2_day", chloride_deposition_mg_m2_day, CHLORIDE),
        ]
    )
    inputs = (temperature_c, relative_humidity_percent, so2_deposition_mg_m2_day, chloride_deposition_mg_m2_day)
    rates = {metal: float(function.rate(*inputs)) for metal, function in DOSE_RESPONSE.items()}
    beyond_cx = any(rate > DOSE_RESPONSE[metal].category_limits[-1] for metal, rate in rates.items())
    return Corrosivity(
        rates,
        {metal: category(metal, rate) for metal, rate in rates.items()},
        bool(outside_range(*inputs)) or beyond_cx,
    )


def long_term_loss(metal: Metal, first_year_loss: float, years: float, *, cautious: bool = False) -> float:
    """ISO 9224: r·t^b up to 20 years, then straight on along its tangent; same unit as `first_year_loss`."""
    function = DOSE_RESPONSE[metal]
    b = function.cautious_exponent if cautious else function.mean_exponent
    if years < 0:
        raise ValueError("years must not be negative")
    if years <= 20:
        return float(first_year_loss * years**b)
    return float(first_year_loss * (20**b + b * 20 ** (b - 1) * (years - 20)))
