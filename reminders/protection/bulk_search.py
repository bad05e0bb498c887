"""Where many coats on bikes of one habit use up their budgets: one matrix product and a binary search for each coat.

What wears a coat is a weighted sum of few daily series (age, riding, washing, and exposure at each amount of spray),
so only those are accumulated. A treatment leaves no salt on the bike: until the next day whose own salt outweighs all
that a bike never treated would still carry, a freshly treated one wears less; from then on they wear alike. So each
coat is followed by itself over that stretch alone: along the sums without road salt when none falls in it, else day
by day.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from reminders.protection.bounds import Array
from reminders.protection.salt_left import Indices, SaltLeft
from reminders.protection.wear import Load, accumulated

# So many stretches are followed day by day at a time: it bounds the memory, not the answer.
_STRETCHES = 128
_PRODUCTS = 200_000


@dataclass(frozen=True, eq=False)
class Wearing:
    """Columns over coats: share used up by a day, a day at relative exposure 1, a km and a wash; and the spray caught.

    `budgets` are three to a coat, `start` is the index of its first day. Coats of an equal `row` wear alike; rows
    never fall from one coat to the next.
    """

    by_age: Array
    by_exposure: Array
    by_km: Array
    by_wash: Array
    spray: Array
    budgets: Array
    row: Indices
    start: Indices

    def taken(self, which: np.ndarray | slice) -> Wearing:
        """Some of the coats."""
        return Wearing(*(getattr(self, column.name)[which] for column in fields(self)))


def days_reaching(acting: Load, coats: Wearing) -> Indices:
    """Index of the day by whose end each budget is used up, shape (coats, 3); the number of days when none is."""
    new_row = np.diff(coats.row, prepend=-1) > 0
    row, wearing = np.cumsum(new_row) - 1, coats.taken(new_row)
    sprays = np.unique(np.append(0.0, wearing.spray))
    sums = _sums(acting, sprays)
    total = _totals(wearing, np.searchsorted(sprays, wearing.spray), sums)
    reached = np.full(coats.budgets.shape, -1)
    target = total[row, coats.start][:, None] + coats.budgets
    if (left := acting.salt_left) is not None:
        peak = left.next_peak()[coats.start]
        stretched = peak > coats.start
        salted_before = np.concatenate([[0], np.cumsum(acting.road_chloride > 0)])
        salted = salted_before[peak] > salted_before[coats.start]
        worn = np.zeros(len(row))
        if (which := np.flatnonzero(stretched & ~salted)).size:
            fair = _totals(wearing, np.zeros(len(wearing.row), dtype=np.int64), sums)
            begun = fair[row, coats.start]
            worn[which] = (fair[row, peak] - begun)[which]
            reached[which] = _within(fair, row[which], begun[which, None] + coats.budgets[which], peak[which])
        # Stretches of like length side by side, so that little is reckoned past their ends.
        lengths = np.where(stretched & salted, peak - coats.start, 0)
        if (which := np.argsort(lengths)[np.count_nonzero(lengths == 0) :]).size:
            worn[which], reached[which] = _day_by_day(acting, left, coats.taken(which), peak[which])
        target[stretched] = (total[row, peak] - worn)[stretched, None] + coats.budgets[stretched]
    coat, budget = np.nonzero(reached < 0)
    reached[coat, budget] = _search(total, row[coat], target[coat, budget])
    return reached


def _sums(acting: Load, sprays: Array) -> Array:
    """Days, km, washes, exposure at each spray, before each day and after the last; (3 + sprays, days + 1)."""
    series = [np.ones(len(acting.days)), acting.km, acting.washes, *(acting.exposure(float(at)) for at in sprays)]
    return accumulated(np.stack(series))


def _totals(wearing: Wearing, caught: Indices, sums: Array) -> Array:
    """Share used up before each day and after the last, shape (rows, days + 1); `caught` is the index of a spray."""
    weights = np.zeros((len(caught), len(sums)))
    weights[:, :3] = np.stack([wearing.by_age, wearing.by_km, wearing.by_wash], axis=1)
    weights[np.arange(len(caught)), 3 + caught] = wearing.by_exposure
    total = np.empty((len(caught), sums.shape[1]))
    # Strips too small for the matrix library to start threads, which cost more here than they bring.
    width = max(1, _PRODUCTS // weights.size)
    for low in range(0, sums.shape[1], width):
        np.matmul(weights, sums[:, low : low + width], out=total[:, low : low + width])
    return total


def _search(total: Array, row: Indices, target: Array) -> Indices:
    """By target, the day by whose end its row reaches it; `row` never falls."""
    bounds = np.searchsorted(row, np.arange(len(total) + 1))
    found = np.empty(len(row), dtype=np.int64)
    for line, low, high in zip(total, bounds[:-1], bounds[1:], strict=True):
        found[low:high] = line.searchsorted(target[low:high])
    return found - 1


def _within(total: Array, row: Indices, target: Array, before: Indices) -> Indices:
    """As `_search` for three targets a coat, but −1 where the day is not one before `before`."""
    coat, budget = np.nonzero(target <= total[row, before][:, None])
    reached = np.full(target.shape, -1)
    reached[coat, budget] = _search(total, row[coat], target[coat, budget])
    return reached


def _day_by_day(acting: Load, left: SaltLeft, coats: Wearing, before: Indices) -> tuple[Array, Indices]:
    """Wear of each coat up to the day `before`, and the days its budgets are used up until then, else −1."""
    worn, reached = np.empty(len(before)), np.full(coats.budgets.shape, -1)
    for low in range(0, len(before), _STRETCHES):
        some, until = coats.taken(slice(low, low + _STRETCHES)), before[low : low + _STRETCHES]
        index = some.start[:, None] + np.arange((until - some.start).max())
        inside = index < until[:, None]
        index = np.minimum(index, len(acting.days) - 1)
        exposure = acting.exposure_since_cleaned(left, index, some.spray[:, None])
        daily = some.by_age[:, None] + some.by_exposure[:, None] * exposure
        daily += some.by_km[:, None] * acting.km[index] + some.by_wash[:, None] * acting.washes[index]
        total = np.cumsum(np.where(inside, daily, 0.0), axis=1)
        worn[low : low + _STRETCHES] = total[:, -1]
        for budget, needed in enumerate(some.budgets.T):
            day = some.start + (total < needed[:, None]).sum(axis=1)
            reached[low : low + _STRETCHES, budget] = np.where(total[:, -1] >= needed, day, -1)
    return worn, reached
