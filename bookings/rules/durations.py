"""How long a job takes: log-normal minutes, learned from the shop's own finished jobs.

The logarithm of the minutes over the shop's own table is linear in what is known of the job, with a
normal-inverse-gamma prior, so that every finished job is one closed-form update and every promise one Student t
quantile (Bayesian linear regression; formulae as in Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 14, from
memory; checked in the tests against the ordinary least-squares prediction interval). Day totals by Fenton (1960),
IRE Trans. Commun. Syst. 8:57-67 (from memory; checked against simulation).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil, exp, inf, log, sqrt
from types import MappingProxyType

from scipy.special import ndtri, stdtrit

from bookings.rules.types import BikeKind, Condition

GRID_MINUTES = 15
PROMISED_SHARE = 0.8
OWN_JOBS = "own jobs"
ICY = "icy"


# Common practice, without a source, for ice, salt crust and a sidecar; judgement for the rest.
DEFAULT_MULTIPLIERS: Mapping[str, float] = MappingProxyType(
    {
        BikeKind.FAIRED: 1.1,
        BikeKind.SCOOTER: 0.9,
        BikeKind.SIDECAR: 1.35,
        Condition.CLEAN: 0.85,
        Condition.CRUSTED: 1.15,
        Condition.CORRODED: 1.3,
        ICY: 1.25,
    }
)


@dataclass(frozen=True)
class Features:
    """What is known of a job beforehand. The table of minutes is for a bare bike that is only dirty, without ice."""

    tier: str
    kind: BikeKind = BikeKind.BARE
    condition: Condition = Condition.DIRTY
    icy: bool = False


@dataclass(frozen=True)
class Priors:
    """Beliefs before the first finished job.

    `multipliers` are factors on the table's minutes; `*_worth_jobs` say how many finished jobs outweigh each belief.
    `log_sd` is the spread of log minutes of like jobs, `log_sd_worth_jobs` how many jobs that belief is worth.
    """

    multipliers: Mapping[str, float] = field(default_factory=lambda: DEFAULT_MULTIPLIERS)
    # Judgement, all four: the whole table is trusted least, as it is one person's habit of guessing.
    table_worth_jobs: float = 2.0
    tier_worth_jobs: float = 8.0
    multiplier_worth_jobs: float = 8.0
    log_sd: float = 0.16
    log_sd_worth_jobs: float = 10.0


DEFAULT_PRIORS = Priors()


@dataclass(frozen=True)
class Belief:
    """Normal-inverse-gamma belief over coefficients b and variance s2 of y = x.b + e, e ~ N(0, s2).

    b given s2 ~ N(m, s2 V), s2 ~ IG(a, c); m has n numbers, V is n by n, symmetric.
    """

    m: tuple[float, ...]
    V: tuple[tuple[float, ...], ...]
    a: float
    c: float

    def updated(self, x: Sequence[float], y: float, cap: float = inf) -> Belief:
        """The belief after seeing y at x. A surprise beyond `cap` predictive scales counts as one of that size."""
        Vx = [sum(v * xi for v, xi in zip(row, x, strict=True)) for row in self.V]
        f = 1.0 + sum(xi * vxi for xi, vxi in zip(x, Vx, strict=True))
        surprise = y - self.mean(x)
        if cap < inf:
            furthest = cap * sqrt(self.c / self.a * f)
            surprise = min(max(surprise, -furthest), furthest)
        return Belief(
            m=tuple(mi + vxi * surprise / f for mi, vxi in zip(self.m, Vx, strict=True)),
            V=tuple(
                tuple(v - vxi * vxj / f for v, vxj in zip(row, Vx, strict=True))
                for row, vxi in zip(self.V, Vx, strict=True)
            ),
            a=self.a + 0.5,
            c=self.c + 0.5 * surprise * surprise / f,
        )

    def mean(self, x: Sequence[float]) -> float:
        """Predictive centre of y at x."""
        return sum(xi * mi for xi, mi in zip(x, self.m, strict=True))

    def quantile(self, x: Sequence[float], share: float) -> float:
        """The y below which the next value at x falls with probability `share`."""
        Vx = [sum(v * xi for v, xi in zip(row, x, strict=True)) for row in self.V]
        f = 1.0 + sum(xi * vxi for xi, vxi in zip(x, Vx, strict=True))
        return self.mean(x) + float(stdtrit(2.0 * self.a, share)) * sqrt(self.c / self.a * f)


@dataclass(frozen=True)
class Estimate:
    """A job's length before it is done.

    `promised_minutes` holds with the probability asked for, rounded up to quarter-hours; `spread` is the standard
    deviation of log minutes; `reasons` are factors on the table's minutes whose product is the median.
    """

    median_minutes: float
    promised_minutes: int
    spread: float
    reasons: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class LengthModel:
    """What the shop believes of job lengths: its table of minutes by tier, and factors learned from finished jobs."""

    table: tuple[tuple[str, float], ...]
    belief: Belief
    jobs: int = 0

    # A job that took four times its length says that something else happened, not that all jobs do.
    SURPRISE_CAP = 2.5

    def updated(self, features: Features, minutes: float) -> LengthModel:
        """The model after a job with these features took `minutes` of work, by the clock and not by the booking."""
        if not 0 < minutes < inf:
            raise ValueError("a finished job took some minutes")
        y = log(minutes / self._table_minutes(features))
        return replace(self, belief=self.belief.updated(self._x(features), y, self.SURPRISE_CAP), jobs=self.jobs + 1)

    def after(self, finished: Iterable[tuple[Features, float]]) -> LengthModel:
        """The model after several finished jobs, in the order they were done."""
        model = self
        for features, minutes in finished:
            model = model.updated(features, minutes)
        return model

    def minutes(self, features: Features, share: float) -> float:
        """Minutes that suffice with probability `share`."""
        if not 0 < share < 1:
            raise ValueError("a share lies between 0 and 1")
        return self._table_minutes(features) * exp(self.belief.quantile(self._x(features), share))

    def estimate(self, features: Features, share: float = PROMISED_SHARE) -> Estimate:
        """Median, promise at `share`, and why. Raises ValueError for a tier the table lacks."""
        median = self.minutes(features, 0.5)
        return Estimate(
            median_minutes=median,
            promised_minutes=_to_grid(self.minutes(features, share)),
            spread=log(self.minutes(features, PROMISED_SHARE) / median) / float(ndtri(PROMISED_SHARE)),
            reasons=self._reasons(features),
        )

    def _reasons(self, features: Features) -> tuple[tuple[str, float], ...]:
        coefficients = dict(zip(self._names(), self.belief.m, strict=True))
        factors = [(name, exp(coefficients[name])) for name in _special(features)]
        own = exp(coefficients[OWN_JOBS] + coefficients[f"tier {features.tier}"])
        return tuple([*factors, (OWN_JOBS, own)] if self.jobs else factors)

    def _table_minutes(self, features: Features) -> float:
        for tier, minutes in self.table:
            if tier == features.tier:
                return minutes
        raise ValueError(f"the table has no tier {features.tier!r}")

    def _names(self) -> tuple[str, ...]:
        return (OWN_JOBS, *(f"tier {tier}" for tier, _ in self.table), *_SPECIAL)

    def _x(self, features: Features) -> list[float]:
        present = {OWN_JOBS, f"tier {features.tier}", *_special(features)}
        return [1.0 if name in present else 0.0 for name in self._names()]


def prior(table: Mapping[str, float], priors: Priors = DEFAULT_PRIORS) -> LengthModel:
    """The model of a shop without finished jobs; `table` gives minutes by tier for a bare, dirty bike without ice."""
    if not table or not all(0 < minutes < inf for minutes in table.values()):
        raise ValueError("the table needs at least one tier, and minutes above 0")
    beliefs = [
        (0.0, 1.0 / priors.table_worth_jobs),
        *((0.0, 1.0 / priors.tier_worth_jobs) for _ in table),
        *((log(priors.multipliers[name]), 1.0 / priors.multiplier_worth_jobs) for name in _SPECIAL),
    ]
    a = priors.log_sd_worth_jobs / 2.0
    belief = Belief(
        m=tuple(mean for mean, _ in beliefs),
        V=tuple(
            tuple(variance if row == column else 0.0 for column in range(len(beliefs)))
            for row, (_, variance) in enumerate(beliefs)
        ),
        a=a,
        c=a * priors.log_sd**2,
    )
    return LengthModel(table=tuple(sorted(table.items())), belief=belief)


def promised_day_minutes(estimates: Sequence[Estimate], share: float = PROMISED_SHARE) -> int:
    """Minutes within which all the jobs of a day are done with probability `share`, rounded up to quarter-hours.

    Takes the jobs as independent, so the sum of their promises is the cautious end when one cause slows them all.
    """
    if not estimates:
        return 0
    means = [estimate.median_minutes * exp(estimate.spread**2 / 2) for estimate in estimates]
    variance = sum(mean**2 * (exp(estimate.spread**2) - 1) for mean, estimate in zip(means, estimates, strict=True))
    s2 = log(1 + variance / sum(means) ** 2)
    return _to_grid(exp(log(sum(means)) - s2 / 2 + float(ndtri(share)) * sqrt(s2)))


_SPECIAL: tuple[str, ...] = (
    *(kind.value for kind in BikeKind if kind is not BikeKind.BARE),
    *(condition.value for condition in Condition if condition is not Condition.DIRTY),
    ICY,
)


def _special(features: Features) -> tuple[str, ...]:
    named = (features.kind.value, features.condition.value, ICY if features.icy else "")
    return tuple(name for name in named if name in _SPECIAL)


def _to_grid(minutes: float) -> int:
    return max(GRID_MINUTES, ceil(minutes / GRID_MINUTES - 1e-9) * GRID_MINUTES)
