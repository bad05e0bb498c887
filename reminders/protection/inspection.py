"""What the state of a returning bike teaches: its own rate of wear, and each product's, as log-normal factors.

A coat wears e^r times as fast as forecast, r = bike's + product's + the coat's own chance, each normal around 0.
Findings are readings of r with normal error, so the posterior is exact and closed-form (a linear Gaussian model
with two crossed effects; bikes are integrated out first, then the few products are solved together).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from math import hypot, log, sqrt

import numpy as np

from bookings.rules.errors import FieldError
from reminders.protection.bounds import LOG_RATE, Array, out_of_bounds, refuse

# ISO 10289:1999, upper end of the defective area in percent for ratings 9 … 1. 9 to 6 as a public page prints them;
# 5 from the formula, rating = 3·(2 − log10 A) rounded (the page prints 12.5 there, which we read as 2.5); 4 to 1 from
# memory. All nine are what the formula gives.
RATING_LIMITS_PERCENT = (0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 25.0, 50.0)
# A film worn less than this tells nothing about its rate.
_LEAST_READABLE_WEAR = 0.1


def protection_rating(defect_area_percent: float) -> int:
    """ISO 10289 protection rating of a corroded area in percent: 10 without defects down to 0."""
    refuse(out_of_bounds("defect_area_percent", defect_area_percent, (0.0, 100.0)))
    if defect_area_percent == 0:
        return 10
    return 9 - int(np.searchsorted(RATING_LIMITS_PERCENT, defect_area_percent, side="left"))


def area_limit_percent(rating: int) -> float:
    """Largest corroded area, in percent, that is still given `rating`, 0–10."""
    return (100.0, *RATING_LIMITS_PERCENT[::-1], 0.0)[rating]


@dataclass(frozen=True)
class Finding:
    """One zone as found. `forecast_worn`: share of the budget used up by then, had the forecast been right (factor 1).

    `film_left`, 0–1, is the share of the zone where film still sheds water, by eye; None where nobody looked.
    """

    bike: Hashable
    product: Hashable
    forecast_worn: float
    defect_area_percent: float
    film_left: float | None = None

    def __post_init__(self) -> None:
        errors = [
            *out_of_bounds("forecast_worn", self.forecast_worn, (0.0, 1000.0)),
            *out_of_bounds("defect_area_percent", self.defect_area_percent, (0.0, 100.0)),
            *out_of_bounds("film_left", self.film_left or 0.0, (0.0, 1.0)),
        ]
        if not errors and self.forecast_worn == 0:
            errors = [FieldError("forecast_worn", "a coat of today cannot have been worn")]
        refuse(errors)


@dataclass(frozen=True)
class LogRate:
    """Natural logarithm of how many times faster than forecast a coat wears: mean and standard deviation."""

    mean: float
    sd: float


def read_log_rate(finding: Finding, parameters: Mapping[str, float]) -> LogRate | None:
    """The reading of r that a finding is; None when it tells nothing.

    Rust says by how much the budget was overdrawn. Without rust only the film left is a reading: that there is no
    rust yet says merely that the coat was not used up.
    """
    if finding.defect_area_percent > 0:
        steps = 9.5 - protection_rating(finding.defect_area_percent)
        worn, sd = parameters["inspection.wear_per_rating"] ** steps, parameters["inspection.rust_log_sd"]
    elif finding.film_left is not None and finding.film_left <= 1.0 - _LEAST_READABLE_WEAR:
        worn = 1.0 - finding.film_left
        sd = parameters["inspection.film_sd"] / worn
    else:
        return None
    mean = log(worn / finding.forecast_worn)
    return LogRate(min(max(mean, LOG_RATE[0]), LOG_RATE[1]), sd)


@dataclass(frozen=True, eq=False)
class Learnt:
    """The joint posterior of all bikes and products: products by mean and covariance, bikes given the products."""

    bikes: Mapping[Hashable, int]
    products: Mapping[Hashable, int]
    product_mean: Array
    product_covariance: Array
    bike_precision: Array
    bike_pull: Array
    bike_weight: Array
    prior: Mapping[str, float]

    def rate(self, bike: Hashable, product: Hashable) -> LogRate:
        """Predicted log rate of the next coat of `product` on `bike`, unknown ones by their prior; chance included."""
        return self._sum([self._of_bike(bike), self._of_product(product)], self.prior["learning.coat_log_sd"] ** 2)

    def bike_rate(self, bike: Hashable) -> LogRate:
        """What lasts of a bike, whatever is on it."""
        return self._sum([self._of_bike(bike)])

    def product_rate(self, product: Hashable) -> LogRate:
        """What lasts of a product, whatever it is on."""
        return self._sum([self._of_product(product)])

    def _of_bike(self, bike: Hashable) -> tuple[float, float, Array]:
        """Mean, variance and weight of each product's mean, given the products."""
        index = self.bikes.get(bike)
        if index is None:
            return 0.0, self.prior["learning.bike_log_sd"] ** 2, np.zeros(len(self.products))
        precision = self.bike_precision[index]
        return float(self.bike_pull[index] / precision), float(1.0 / precision), -self.bike_weight[index] / precision

    def _of_product(self, product: Hashable) -> tuple[float, float, Array]:
        weight: Array = np.zeros(len(self.products))
        if product not in self.products:
            return 0.0, self.prior["learning.product_log_sd"] ** 2, weight
        weight[self.products[product]] = 1.0
        return 0.0, 0.0, weight

    def _sum(self, parts: Sequence[tuple[float, float, Array]], chance: float = 0.0) -> LogRate:
        weight: Array = np.sum([part[2] for part in parts], axis=0)
        mean = sum(part[0] for part in parts) + float(weight @ self.product_mean)
        own = sum(part[1] for part in parts) + chance
        return LogRate(mean, sqrt(own + float(weight @ self.product_covariance @ weight)))


def learn(findings: Sequence[Finding], parameters: Mapping[str, float]) -> Learnt:
    """All findings of a shop → what is known of its bikes and products. Order does not matter; none is fine."""
    readings = [(finding, read_log_rate(finding, parameters)) for finding in findings]
    told = [(finding, reading) for finding, reading in readings if reading is not None]
    bikes = {bike: index for index, bike in enumerate(dict.fromkeys(finding.bike for finding, _ in told))}
    products = {name: index for index, name in enumerate(dict.fromkeys(finding.product for finding, _ in told))}
    means = np.array([reading.mean for _, reading in told])
    noise = np.array([hypot(reading.sd, parameters["learning.coat_log_sd"]) for _, reading in told])
    weights = 1.0 / noise**2 if told else means
    of_bike = np.array([bikes[finding.bike] for finding, _ in told], dtype=np.int64)
    of_product = np.array([products[finding.product] for finding, _ in told], dtype=np.int64)

    bike_weight: Array = np.zeros((len(bikes), len(products)))
    np.add.at(bike_weight, (of_bike, of_product), weights)
    bike_pull: Array = np.zeros(len(bikes))
    np.add.at(bike_pull, of_bike, weights * means)
    bike_precision = parameters["learning.bike_log_sd"] ** -2 + bike_weight.sum(axis=1)
    shrunk = bike_weight / bike_precision[:, None]
    own = parameters["learning.product_log_sd"] ** -2 + bike_weight.sum(axis=0)
    precision = np.diag(own) - bike_weight.T @ shrunk
    pull: Array = np.zeros(len(products))
    np.add.at(pull, of_product, weights * means)
    pull -= shrunk.T @ bike_pull
    covariance = np.linalg.inv(precision)
    return Learnt(
        bikes, products, covariance @ pull, covariance, bike_precision, bike_pull, bike_weight, dict(parameters)
    )
