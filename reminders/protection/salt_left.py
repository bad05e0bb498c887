"""Salt that stays on a bike after the ride: no measurement of it was found, so its two rates are the shop's to edit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from reminders.protection.bounds import Array
from reminders.protection.climate import Days

Indices = NDArray[np.int64]
# A full treatment leaves nothing of the salt: e^−50.
_CLEANED = 50.0


@dataclass(frozen=True, eq=False)
class SaltLeft:
    """Salt on the bike by day, in logarithms: `own` each day's plus the `decay` so far, −inf on days without.

    Each day's salt decays with a half-life and at recorded washes; the most of it counts: a maximum rather than a
    sum, because a day's deposition is a level of soiling, not a heap. Washes only hoped for take nothing off.
    """

    own: Array
    decay: Array

    @property
    def level(self) -> Array:
        """Chloride left on by day, mg/(m²·day) at spray 1; solved without a loop, by a running maximum."""
        return np.asarray(np.exp(np.maximum.accumulate(self.own) - self.decay))

    def next_peak(self) -> Indices:
        """By day, the next day (or that day) whose own salt outweighs all left from before it; past the end if none.

        From there on it no longer matters what was on the bike before.
        """
        count = len(self.own)
        peak = np.isfinite(self.own) & (self.own >= np.maximum.accumulate(self.own))
        marked = np.where(peak, np.arange(count), count)
        return np.asarray(np.minimum.accumulate(marked[::-1])[::-1])

    def level_since(self, index: Indices) -> Array:
        """Chloride left on by day on a bike that was clean at the start of each row of consecutive days."""
        return np.asarray(np.exp(np.maximum.accumulate(self.own[index], axis=-1) - self.decay[index]))


def salt_left(
    road: Array,
    days: Days,
    washed_on: Iterable[date],
    cleaned_on: Iterable[date],
    parameters: Mapping[str, float],
) -> SaltLeft | None:
    """What stays of `road`, each day's chloride thrown up at spray 1; None when nothing does.

    Recorded washes take a share off, cleanings all. A day's own salt comes after its wash.
    """
    half_life = parameters["brine.half_life_days"]
    if half_life <= 0 or not road.any():
        return None
    decay = np.full(len(road), np.log(2.0) / half_life)
    rinsed = min(-np.log1p(-min(parameters["brine.washed_off_share"], 0.999999)), _CLEANED)
    for dates, taken in ((washed_on, rinsed), (cleaned_on, _CLEANED)):
        for day in dates:
            index = int((np.datetime64(day, "D") - days[0]).astype(np.int64))
            if 0 <= index < len(days):
                decay[index] += taken
    so_far = np.cumsum(decay)
    own = np.full(len(road), -np.inf)
    np.log(road, out=own, where=road > 0)
    return SaltLeft(own + so_far, so_far)
