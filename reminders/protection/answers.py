"""What the protection forecast answers."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from bookings.rules.types import CoatKind, Zone
from reminders.protection.bounds import Array


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
