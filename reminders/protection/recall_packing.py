"""Bikes of different lengths to days with minutes: a generalised assignment, proved cheapest only when it says so.

HiGHS (through SciPy) searches up to a fixed number of nodes, so that equal questions get equal answers whatever the
machine's speed. Larger problems round the linear programme and improve by moves and swaps.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp
from scipy.sparse import csc_array

Table = NDArray[np.int64]
_NONE = 2**60
MOST_SEARCHED_ENTRIES = 8_000
MOST_NODES = 100


def pack(cost: Table, minutes: Table, room: Table) -> tuple[Table, bool]:
    """Column per row of `cost` (bikes in order of turn; days in order, then "uninvited"), and whether it is proved.

    `minutes` per row, `room` in minutes per day. Entries of 2**60 are forbidden. Among answers of equal cost those
    within reach of single moves and swaps give earlier days to earlier rows.
    """
    bike, day = np.nonzero((cost[:, :-1] < _NONE) & (minutes[:, None] <= room[None, :]))
    turn, shortest = np.arange(len(cost)), np.argsort(minutes, kind="stable")
    starts = [
        _one_by_one(cost, minutes, room, turn, cheapest=True),
        _one_by_one(cost, minutes, room, turn, cheapest=False),
        _one_by_one(cost, minutes, room, shortest, cheapest=True),
    ]
    bound: float = -np.inf
    if len(bike):
        search = len(bike) <= MOST_SEARCHED_ENTRIES
        solved = _programme(cost, minutes, room, bike, day, search)
        if solved.x is not None:
            starts.append(_rounded(solved.x, cost, minutes, room, bike, day))
        if search and solved.mip_dual_bound is not None:
            bound = float(solved.mip_dual_bound) + float(cost[:, -1].sum())
    else:
        bound = float(cost[:, -1].sum())
    found = [_improved(cost, minutes, room, start) for start in starts]
    totals = [_total(cost, chosen) for chosen in found]
    best = min(range(len(found)), key=lambda number: (totals[number], found[number].tolist()))
    # Losses are whole numbers, so a bound above total - 1 leaves nothing cheaper; the margin is for rounding in HiGHS.
    proved = totals[best] - 1 < bound - 1e-4 - 1e-9 * abs(bound)
    return found[best], proved


def _programme(
    cost: Table, minutes: Table, room: Table, bike: NDArray[np.intp], day: NDArray[np.intp], search: bool
) -> OptimizeResult:
    entries = np.stack([np.ones(len(bike)), minutes[bike]], axis=1).ravel()
    rows = np.stack([bike, len(cost) + day], axis=1).ravel()
    limits = np.concatenate([np.ones(len(cost)), room]).astype(float)
    matrix = csc_array((entries, rows, np.arange(0, len(rows) + 1, 2)), shape=(len(limits), len(bike)))
    return milp(
        (cost[bike, day] - cost[bike, -1]).astype(float),
        integrality=np.full(len(bike), 1 if search else 0),
        constraints=LinearConstraint(matrix, ub=limits),
        bounds=Bounds(0.0, 1.0),
        options={"node_limit": MOST_NODES, "mip_rel_gap": 0.0} if search else {},
    )


def _rounded(
    x: NDArray[np.float64], cost: Table, minutes: Table, room: Table, bike: NDArray[np.intp], day: NDArray[np.intp]
) -> Table:
    """Whole entries as they are; bikes spread over days, and what no longer fits, to the cheapest day with room."""
    chosen = np.full(len(cost), len(room), dtype=np.int64)
    left = np.append(room, minutes.sum())
    whole = x > 0.999
    for number, column in zip(bike[whole].tolist(), day[whole].tolist(), strict=True):
        if minutes[number] <= left[column]:
            chosen[number] = column
            left[column] -= minutes[number]
    for number in np.flatnonzero(chosen == len(room)).tolist():
        column = int(np.where(minutes[number] <= left, cost[number], _NONE).argmin())
        chosen[number] = column
        left[column] -= minutes[number]
    return chosen


def _one_by_one(cost: Table, minutes: Table, room: Table, order: NDArray[np.intp], cheapest: bool) -> Table:
    """Bikes in this order, each to the cheapest, or to the first, day that still has room."""
    chosen = np.zeros(len(cost), dtype=np.int64)
    left = np.append(room, minutes.sum())
    for number in order.tolist():
        may = (left >= minutes[number]) & (cost[number] < _NONE)
        column = int(np.where(may, cost[number], _NONE).argmin() if cheapest else may.argmax())
        chosen[number] = column
        left[column] -= minutes[number]
    return chosen


def _improved(cost: Table, minutes: Table, room: Table, start: Table) -> Table:
    """Moves and swaps until none saves loss or, at equal loss, gives an earlier row an earlier day."""
    chosen = start.copy()
    every = np.arange(len(chosen))
    left = np.append(room, minutes.sum()) - np.bincount(chosen, minutes, len(room) + 1).astype(np.int64)
    changed = True
    while changed:
        changed = False
        for bike in range(len(chosen)):
            here, length = int(chosen[bike]), int(minutes[bike])
            dearer = cost[bike] - cost[bike, here]
            column = _best(np.where(left >= length, dearer, _NONE), np.arange(len(left)) < here)
            if column is not None:
                left[here] += length
                left[column] -= length
                chosen[bike] = column
                changed = True
                continue
            fits = (left[here] + length >= minutes) & (left[chosen] + minutes >= length) & (chosen != here)
            dearer = dearer[chosen] + cost[every, here] - cost[every, chosen]
            other = _best(np.where(fits, dearer, _NONE), (chosen < here) & (every > bike))
            if other is not None:
                there = int(chosen[other])
                left[here] += length - minutes[other]
                left[there] += minutes[other] - length
                chosen[bike], chosen[other] = there, here
                changed = True
    return chosen


def _best(dearer: Table, fairer: NDArray[np.bool_]) -> int | None:
    """The step that saves most, or one that costs nothing and is fairer; None when there is neither."""
    best = int(dearer.argmin())
    if dearer[best] < 0:
        return best
    even = np.flatnonzero((dearer == 0) & fairer)
    return int(even[0]) if len(even) else None


def _total(cost: Table, chosen: Table) -> int:
    return sum(int(value) for value in cost[np.arange(len(chosen)), chosen])
