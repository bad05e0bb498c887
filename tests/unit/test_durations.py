"""Job lengths against other methods: least squares, the batch formula, simulation, and what the trade knows."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from bookings.rules.durations import (
    DEFAULT_MULTIPLIERS,
    ICY,
    OWN_JOBS,
    Belief,
    Estimate,
    Features,
    prior,
    promised_day_minutes,
)
from bookings.rules.types import BikeKind, Condition

TABLE = {"full": 195.0, "rinse": 75.0, "exhaust": 35.0}
CRUSTED_FULL = Features("full", condition=Condition.CRUSTED)


def columns(count: int, width: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(count), rng.integers(0, 2, (count, width - 1))])
    return x, x @ rng.normal(0, 0.3, width) + rng.normal(0, 0.2, count)


def belief(mean: np.ndarray, cov: np.ndarray, a: float, c: float) -> Belief:
    return Belief(tuple(mean), tuple(tuple(row) for row in cov), a, c)


def test_flat_prior_is_the_least_squares_prediction_interval() -> None:
    """Referee: statsmodels OLS, obs_ci of get_prediction."""
    x, y = columns(40, 5, seed=3)
    learned = belief(np.zeros(5), np.eye(5) * 1e7, a=-2.5, c=0.0)
    for row, value in zip(x, y, strict=True):
        learned = learned.updated(row, value)
    new = [1.0, 0.0, 1.0, 1.0, 0.0]
    referee = sm.OLS(y, x).fit().get_prediction(new).summary_frame(alpha=0.4)
    assert learned.quantile(new, 0.2) == pytest.approx(referee["obs_ci_lower"][0], abs=1e-6)
    assert learned.quantile(new, 0.8) == pytest.approx(referee["obs_ci_upper"][0], abs=1e-6)
    assert learned.mean(new) == pytest.approx(referee["mean"][0], abs=1e-6)


def test_one_at_a_time_is_the_batch_formula() -> None:
    """Referee: the normal-inverse-gamma posterior in matrices, by NumPy."""
    x, y = columns(30, 4, seed=5)
    m0, v0, a0, c0 = np.array([0.1, -0.2, 0.0, 0.3]), np.diag([0.5, 0.2, 0.2, 0.1]), 5.0, 0.1
    learned = belief(m0, v0, a0, c0)
    for row, value in zip(x, y, strict=True):
        learned = learned.updated(row, value)
    precision = np.linalg.inv(v0) + x.T @ x
    mean = np.linalg.solve(precision, np.linalg.inv(v0) @ m0 + x.T @ y)
    c = c0 + 0.5 * (y @ y + m0 @ np.linalg.inv(v0) @ m0 - mean @ precision @ mean)
    np.testing.assert_allclose(learned.m, mean, rtol=1e-10)
    np.testing.assert_allclose(learned.V, np.linalg.inv(precision), rtol=1e-10, atol=1e-14)
    assert learned.a == pytest.approx(a0 + 15)
    assert learned.c == pytest.approx(c, rel=1e-10)


def test_the_mean_shrinks_by_the_weight_of_known_variance() -> None:
    """Normal mean with known variances: weight n tau2 / (n tau2 + s2), any textbook of Bayesian statistics."""
    learned = Belief((0.0,), ((0.25,),), a=1e9, c=1e9 * 0.04)  # tau2 = 0.25 s2
    for value in (0.3, 0.1, 0.2, 0.4):
        learned = learned.updated([1.0], value)
    weight = 4 * 0.25 / (4 * 0.25 + 1)
    assert learned.m[0] == pytest.approx(weight * 0.25)


def test_a_full_treatment_of_a_salt_crusted_bike_takes_3_5_to_4_hours() -> None:
    """Common practice, without a source: the range lies between the estimate's P20 and P80."""
    model = prior(TABLE)
    assert model.minutes(CRUSTED_FULL, 0.2) <= 210 <= 240 <= model.minutes(CRUSTED_FULL, 0.8)


def test_a_badly_tarnished_exhaust_alone_takes_about_45_minutes() -> None:
    """Common practice, without a source; "about" read as within 10 minutes."""
    estimate = prior(TABLE).estimate(Features("exhaust", condition=Condition.CORRODED))
    assert estimate.median_minutes == pytest.approx(45, abs=10)


def test_reasons_multiply_to_the_median() -> None:
    model = prior(TABLE).after([(Features("full"), 260), (Features("rinse", BikeKind.FAIRED), 95)])
    features = Features("full", BikeKind.SIDECAR, Condition.CORRODED, icy=True)
    estimate = model.estimate(features)
    assert [label for label, _ in estimate.reasons] == ["sidecar", "corroded", ICY, OWN_JOBS]
    assert 195 * math.prod(factor for _, factor in estimate.reasons) == pytest.approx(estimate.median_minutes)


def test_before_any_job_the_median_is_the_table_times_the_prior_factors() -> None:
    estimate = prior(TABLE).estimate(Features("full", icy=True))
    assert estimate.median_minutes == pytest.approx(195 * DEFAULT_MULTIPLIERS[ICY])
    assert dict(estimate.reasons) == pytest.approx({ICY: DEFAULT_MULTIPLIERS[ICY]})


def test_promise_is_in_quarter_hours_and_above_the_quantile() -> None:
    model = prior(TABLE)
    for share in (0.5, 0.65, 0.8, 0.95):
        exact = model.minutes(CRUSTED_FULL, share)
        promised = model.estimate(CRUSTED_FULL, share).promised_minutes
        assert promised % 15 == 0
        assert exact <= promised < exact + 15


def test_longer_jobs_lengthen_the_estimate_and_like_jobs_narrow_it() -> None:
    before = prior(TABLE).estimate(CRUSTED_FULL)
    longer = prior(TABLE).after([(CRUSTED_FULL, 280.0)] * 3).estimate(CRUSTED_FULL)
    alike = prior(TABLE).after([(CRUSTED_FULL, before.median_minutes)] * 10).estimate(CRUSTED_FULL)
    assert longer.median_minutes > before.median_minutes
    assert alike.median_minutes == pytest.approx(before.median_minutes)
    assert alike.spread < before.spread


def test_one_tier_teaches_the_others_but_less() -> None:
    learned = prior(TABLE).after([(Features("full"), 250.0)] * 5)
    taught = learned.estimate(Features("full")).median_minutes / 195
    untaught = learned.estimate(Features("rinse")).median_minutes / 75
    assert 1 < untaught < taught


def test_one_wild_job_moves_no_more_than_the_cap() -> None:
    wild = prior(TABLE).updated(CRUSTED_FULL, 24 * 60.0)
    wilder = prior(TABLE).updated(CRUSTED_FULL, 7 * 24 * 60.0)
    assert wild.minutes(CRUSTED_FULL, 0.8) == pytest.approx(wilder.minutes(CRUSTED_FULL, 0.8))


@pytest.mark.parametrize("minutes", [0, -5, math.inf, math.nan])
def test_minutes_that_are_none_are_refused(minutes: float) -> None:
    with pytest.raises(ValueError, match="some minutes"):
        prior(TABLE).updated(CRUSTED_FULL, minutes)
    with pytest.raises(ValueError, match="minutes above 0"):
        prior({"full": minutes})


def test_a_tier_the_table_lacks_and_a_share_beyond_its_range_are_refused() -> None:
    with pytest.raises(ValueError, match="no tier 'unknown'"):
        prior(TABLE).estimate(Features("unknown"))
    with pytest.raises(ValueError, match="between 0 and 1"):
        prior(TABLE).estimate(CRUSTED_FULL, share=1.0)
    with pytest.raises(ValueError, match="at least one tier"):
        prior({})


def test_a_day_is_promised_at_the_quantile_of_the_sum() -> None:
    """Referee: two million simulated days. Two long jobs and a short one, log sd 0.16 to 0.3."""
    jobs = [Estimate(228.0, 0, 0.16, ()), Estimate(75.0, 0, 0.2, ()), Estimate(45.0, 0, 0.3, ())]
    rng = np.random.default_rng(11)
    totals = sum(job.median_minutes * np.exp(job.spread * rng.standard_normal(2_000_000)) for job in jobs)
    simulated = float(np.quantile(totals, 0.8))
    assert simulated * 0.99 <= promised_day_minutes(jobs) <= simulated * 1.01 + 15
    each = sum(float(stats.lognorm.ppf(0.8, job.spread, scale=job.median_minutes)) for job in jobs)
    assert simulated < each


def test_a_day_of_one_job_is_that_jobs_promise_and_of_none_is_free() -> None:
    estimate = prior(TABLE).estimate(CRUSTED_FULL)
    assert promised_day_minutes([estimate]) == estimate.promised_minutes
    assert promised_day_minutes([]) == 0


def overruns_after_30_jobs(seed: int, table_error: float) -> list[bool]:
    """A seeded shop whose true factors the model cannot see: which of its 31st to 60th jobs overran their P80."""
    chance = random.Random(seed)
    true_minutes = {tier: minutes * math.exp(chance.gauss(0, 0.06)) for tier, minutes in TABLE.items()}
    factors = {name: factor * math.exp(chance.gauss(0, 0.06)) for name, factor in DEFAULT_MULTIPLIERS.items()}
    model = prior({tier: minutes * table_error for tier, minutes in TABLE.items()})
    overran = []
    for number in range(60):
        kind, condition = chance.choice(list(BikeKind)), chance.choice(list(Condition))
        features = Features(chance.choice(list(TABLE)), kind, condition, chance.random() < 0.2)
        minutes = true_minutes[features.tier] * math.exp(chance.gauss(0, 0.16))
        minutes *= factors.get(kind, 1.0) * factors.get(condition, 1.0) * (factors[ICY] if features.icy else 1.0)
        if number >= 30:
            overran.append(minutes > model.minutes(features, 0.8))
        model = model.updated(features, minutes)
    return overran


@pytest.mark.parametrize("table_error", [1.0, 0.8], ids=["fair table", "table 20 % short"])
def test_after_30_jobs_the_promise_is_overrun_in_15_to_25_percent(table_error: float) -> None:
    overran = [one for seed in range(60) for one in overruns_after_30_jobs(seed, table_error)]
    assert 0.15 <= sum(overran) / len(overran) <= 0.25
