"""Learning from returning bikes, against the textbook posterior and a hidden truth."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from bookings.rules.errors import InputErrors
from bookings.rules.types import CoatKind, Storage, Zone
from reminders.protection.due import forecast
from reminders.protection.inspection import (
    RATING_LIMITS_PERCENT,
    Finding,
    area_limit_percent,
    learn,
    protection_rating,
    read_log_rate,
)
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Coat
from tests.parts.climates import site, use

BIKE, PRODUCT, CHANCE = (DEFAULTS[f"learning.{part}_log_sd"] for part in ("bike", "product", "coat"))


def test_ratings_are_those_of_the_formula() -> None:
    """ISO 10289: rating = 3·(2 − log10 A), rounded; a limit belongs to the better rating."""
    for index, limit in enumerate(RATING_LIMITS_PERCENT):
        assert protection_rating(limit) == 9 - index == round(3 * (2 - np.log10(limit)))
        assert protection_rating(limit * 1.001) == 8 - index
    assert protection_rating(0) == 10
    assert [protection_rating(area_limit_percent(rating)) for rating in range(11)] == list(range(11))
    with pytest.raises(InputErrors):
        protection_rating(101)


def test_no_rust_and_no_look_at_the_film_is_no_reading() -> None:
    assert read_log_rate(Finding(1, "wax", 0.6, 0.0), DEFAULTS) is None
    assert read_log_rate(Finding(1, "wax", 0.6, 0.0, film_left=1.0), DEFAULTS) is None
    # 1 − 0.9 is a little less than 0.1 in binary; the least readable wear is still a reading.
    assert read_log_rate(Finding(1, "wax", 0.1, 0.0, film_left=0.9), DEFAULTS) is not None
    half = read_log_rate(Finding(1, "wax", 0.5, 0.0, film_left=0.5), DEFAULTS)
    assert half is not None and half.mean == 0
    rusty = read_log_rate(Finding(1, "wax", 1.0, 3.0), DEFAULTS)
    assert rusty is not None and rusty.mean > 0.5
    with pytest.raises(InputErrors):
        Finding(1, "wax", 0.0, 0.0)
    with pytest.raises(InputErrors):
        Finding(1, "wax", 0.5, 0.0, film_left=1.2)


def test_nothing_learnt_is_the_prior() -> None:
    rate = learn([], DEFAULTS).rate("bike", "wax")
    assert rate.mean == 0
    assert rate.sd == pytest.approx(np.sqrt(BIKE**2 + PRODUCT**2 + CHANCE**2))


findings = st.lists(
    st.builds(
        Finding,
        bike=st.integers(0, 4),
        product=st.sampled_from(["film", "wax", "ceramic"]),
        forecast_worn=st.floats(0.2, 2),
        defect_area_percent=st.sampled_from([0.0, 0.05, 0.3, 4.0]),
        film_left=st.sampled_from([None, 0.1, 0.4, 0.8]),
    ),
    max_size=12,
)


@given(findings, st.integers(0, 5), st.sampled_from(["film", "wax", "oil"]))
def test_the_posterior_is_that_of_the_joint_normal(found: list[Finding], bike: int, product: str) -> None:
    """Conditioning the whole joint covariance matrix: the textbook formula, without any of our shortcuts."""
    told = [(finding, read_log_rate(finding, DEFAULTS)) for finding in found]
    kept = [(finding, reading) for finding, reading in told if reading is not None]
    keys = [(finding.bike, finding.product) for finding, _ in kept] + [(bike, product)]
    joint = np.array([[BIKE**2 * (a == c) + PRODUCT**2 * (b == d) for c, d in keys] for a, b in keys])
    noise = np.array([reading.sd**2 + CHANCE**2 for _, reading in kept])
    known = joint[:-1, :-1] + np.diag(noise)
    gain = np.linalg.solve(known, joint[:-1, -1]) if kept else np.zeros(0)
    mean = gain @ np.array([reading.mean for _, reading in kept])
    variance = joint[-1, -1] + CHANCE**2 - gain @ joint[:-1, -1]
    rate = learn(found, DEFAULTS).rate(bike, product)
    assert rate.mean == pytest.approx(float(mean), abs=1e-9)
    assert rate.sd == pytest.approx(float(np.sqrt(variance)), rel=1e-9)
    assert learn(found[::-1], DEFAULTS).rate(bike, product).mean == pytest.approx(rate.mean, abs=1e-9)


@given(findings, st.integers(0, 5), st.sampled_from(["film", "wax", "oil"]))
def test_what_lasts_of_a_bike_and_of_a_product(found: list[Finding], bike: int, product: str) -> None:
    """The same conditioning of the joint normal, for the bike's part and the product's part alone."""
    told = [(finding, read_log_rate(finding, DEFAULTS)) for finding in found]
    kept = [(finding, reading) for finding, reading in told if reading is not None]
    learnt = learn(found, DEFAULTS)
    known = np.array(
        [[BIKE**2 * (a.bike == c.bike) + PRODUCT**2 * (a.product == c.product) for c, _ in kept] for a, _ in kept]
    ) + np.diag([reading.sd**2 + CHANCE**2 for _, reading in kept])
    for rate, spread, shared in (
        (learnt.bike_rate(bike), BIKE, [finding.bike == bike for finding, _ in kept]),
        (learnt.product_rate(product), PRODUCT, [finding.product == product for finding, _ in kept]),
    ):
        common = spread**2 * np.array(shared, dtype=float)
        gain = np.linalg.solve(known, common) if kept else np.zeros(0)
        assert rate.mean == pytest.approx(float(gain @ np.array([reading.mean for _, reading in kept])), abs=1e-9)
        assert rate.sd == pytest.approx(float(np.sqrt(spread**2 - gain @ common)), rel=1e-9)


def test_one_bike_is_the_conjugate_normal_update() -> None:
    """Numerical integration of prior × likelihood (SciPy) where the product is known beforehand."""
    sure = DEFAULTS.with_values({"learning.product_log_sd": 0.01})
    seen = [Finding(1, "wax", worn, 0.0, film_left=left) for worn, left in ((0.5, 0.3), (0.6, 0.2), (0.4, 0.6))]
    grid = np.linspace(-2, 2, 40_001)
    density = stats.norm.pdf(grid, 0, np.hypot(BIKE, 0.01))
    for finding in seen:
        reading = read_log_rate(finding, sure)
        assert reading is not None
        density = density * stats.norm.pdf(reading.mean, grid, np.hypot(reading.sd, CHANCE))
    density /= density.sum()
    mean = float((grid * density).sum())
    variance = float(((grid - mean) ** 2 * density).sum())
    rate = learn(seen, sure).rate(1, "wax")
    assert rate.mean == pytest.approx(mean, abs=1e-6)
    assert rate.sd == pytest.approx(np.sqrt(variance + CHANCE**2), abs=1e-6)


def test_what_was_learnt_moves_and_narrows_the_forecast() -> None:
    on = date(2025, 4, 1)
    coat = Coat(Zone.FRAME, CoatKind.HEAVY_FILM, on)
    rate = learn(
        [Finding(1, "soft", 0.5, 0.0, film_left=0.2), Finding(1, "soft", 0.6, 0.0, film_left=0.1)], DEFAULTS
    ).rate(1, "soft")
    taught = replace(coat, log_rate=rate.mean, log_rate_sd=rate.sd)
    before, after = forecast(site(), use(Storage.HEATED), [coat, taught], on).coats
    assert rate.mean > 0
    assert before.due_likely is not None and after.due_likely is not None
    assert after.due_likely < before.due_likely
    assert after.band_factor < before.band_factor
    assert sum(vars(after.wear_share).values()) == pytest.approx(1)
