"""Bikes of one length to days with places: the cheapest assignment, proved, with ties settled by turn.

HiGHS (through SciPy) solves the linear programme, which has whole-number corners (its matrix is totally unimodular).
Its answer is then checked, and if need be mended, in whole numbers: a plan is cheapest if and only if no cycle of
exchanges between days gains anything (Klein 1967, Management Science 14:205-220, from memory). The potentials of that
check name every exchange that costs nothing, and so every other cheapest plan, among which turn decides.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csc_array

Table = NDArray[np.int64]
_NONE = 2**60


def assign(cost: Table, places: Table) -> Table:
    """Column per row of `cost` (bikes in order of turn; days in order, then "uninvited") at the least total.

    `places` counts the room of each day; "uninvited" has room for all. Entries of 2**60 are forbidden. Among the
    cheapest assignments the first row gets the first column it can have, then the second row, and so on.
    """
    if not len(cost):
        return np.zeros(0, dtype=np.int64)
    room = np.append(places, len(cost))
    chosen = _solve(cost, room)
    while True:
        gains = _exchange_costs(cost, chosen, room)
        potentials, cycle = _shortest(gains)
        if cycle is None:
            return _Ties(cost, chosen, room, potentials).settled()
        _exchange(cost, chosen, cycle)


def _solve(cost: Table, room: Table) -> Table:
    """The linear programme over kinds of bike: rows that are alike are one kind, of which there are several."""
    kinds, kind_of, count = np.unique(cost, axis=0, return_inverse=True, return_counts=True)
    kind, day = np.nonzero(kinds[:, :-1] < _NONE)
    chosen = np.full(len(cost), len(room) - 1, dtype=np.int64)
    if not len(kind):
        return chosen
    saving = (kinds[kind, day] - kinds[kind, -1]).astype(float)
    ones = np.ones(2 * len(kind))
    entries = (ones, np.stack([kind, len(kinds) + day], axis=1).ravel(), np.arange(0, len(ones) + 1, 2))
    limits = np.concatenate([count, room[:-1]]).astype(float)
    matrix = csc_array(entries, shape=(len(limits), len(kind)))
    solved = milp(saving, constraints=LinearConstraint(matrix, ub=limits), bounds=Bounds(lb=0.0))
    if solved.x is None:
        return chosen
    numbers = np.rint(solved.x).astype(np.int64)
    waiting = [list(np.flatnonzero(kind_of.ravel() == number)[::-1]) for number in range(len(kinds))]
    left = room.copy()
    for number, column, bikes in zip(kind.tolist(), day.tolist(), numbers.tolist(), strict=True):
        for _ in range(min(bikes, len(waiting[number]), int(left[column]))):
            chosen[waiting[number].pop()] = column
            left[column] -= 1
    return chosen


def _exchange_costs(cost: Table, chosen: Table, room: Table) -> Table:
    """Least cost of sending one bike from day p (row) to day q (column). The last node stands for free places."""
    nodes = cost.shape[1] + 1
    costs = np.full((nodes, nodes), _NONE, dtype=np.int64)
    order = np.argsort(chosen, kind="stable")
    days, starts = np.unique(chosen[order], return_index=True)
    for day, members in zip(days.tolist(), np.split(order, starts[1:]), strict=True):
        rows = cost[members]
        costs[day, :-1] = (rows - rows[:, [day]]).min(axis=0)
    taken = np.bincount(chosen, minlength=nodes - 1)
    costs[:-1, -1][taken < room] = 0
    costs[-1, :-1] = 0
    return np.minimum(costs, _NONE)


def _shortest(costs: Table) -> tuple[Table, list[int] | None]:
    """Bellman-Ford from all nodes at once: potentials, and a cycle of negative cost if there is one."""
    nodes = len(costs)
    reach = np.zeros(nodes, dtype=np.int64)
    before = np.full(nodes, -1)
    for _ in range(nodes + 1):
        through = reach[:, None] + costs
        best = through.argmin(axis=0)
        shorter = through[best, np.arange(nodes)]
        better = shorter < reach
        if not better.any():
            return reach, None
        reach = np.where(better, shorter, reach)
        before[better] = best[better]
    node = int(np.flatnonzero(better)[0])
    for _ in range(nodes):
        node = int(before[node])
    cycle = [node]
    while int(before[cycle[-1]]) != node:
        cycle.append(int(before[cycle[-1]]))
    return reach, cycle[::-1]


def _exchange(cost: Table, chosen: Table, cycle: list[int]) -> None:
    """Send the cheapest bike along each step of the cycle; steps from and to the free places move nobody."""
    moves = []
    for day, after in zip(cycle, cycle[1:] + cycle[:1], strict=True):
        if max(day, after) < cost.shape[1]:
            members = np.flatnonzero(chosen == day)
            dearer = cost[members, after] - cost[members, day]
            moves.append((members[dearer.argmin()], after))
    for bike, after in moves:
        chosen[bike] = after


class _Ties:
    """Goes through all cheapest assignments by exchanges that cost nothing, and keeps the first in order of turn."""

    def __init__(self, cost: Table, chosen: Table, room: Table, potentials: Table) -> None:
        reduced = cost - potentials[None, :-1]
        self.free_move = reduced == reduced.min(axis=1, keepdims=True)
        self.unpriced = potentials[:-1] == potentials[-1]
        self.chosen, self.room = chosen, room
        self.taken = np.bincount(chosen, minlength=len(room))
        self.movable = np.ones(len(cost), dtype=bool)
        self.movers = np.zeros((len(room), len(room)), dtype=np.int64)
        np.add.at(self.movers, chosen, self.free_move.astype(np.int64))

    def settled(self) -> Table:
        for bike in range(len(self.chosen)):
            day = int(self.chosen[bike])
            self.movable[bike] = False
            self.movers[day] -= self.free_move[bike]
            earlier = np.flatnonzero(self.free_move[bike, :day])
            if len(earlier):
                onward = self._ways_to(day)
                open_to = earlier[onward[earlier] >= 0]
                if len(open_to):
                    self._shift(int(open_to[0]), day, onward)
                    self._move(bike, int(open_to[0]))
        return self.chosen

    def _ways_to(self, day: int) -> NDArray[np.intp]:
        """Next node from each node on a way of free exchanges to `day`; -1 where there is none."""
        nodes = len(self.room) + 1
        steps = np.zeros((nodes, nodes), dtype=bool)
        steps[:-1, :-1] = self.movers > 0
        steps[:-1, -1] = self.unpriced & (self.taken < self.room)
        steps[-1, :-1] = self.unpriced
        onward = np.full(nodes, -1, dtype=np.intp)
        onward[day] = day
        edge = np.array([day])
        while len(edge):
            into = steps[:, edge] & (onward < 0)[:, None]
            found = np.flatnonzero(into.any(axis=1))
            onward[found] = edge[into[found].argmax(axis=1)]
            edge = found
        return onward

    def _shift(self, start: int, day: int, onward: NDArray[np.intp]) -> None:
        """Make room at `start` by moving one bike along each step towards `day`."""
        moves = []
        here = start
        while here != day:
            after = int(onward[here])
            if max(here, after) < len(self.room):
                able = (self.chosen == here) & self.movable & self.free_move[:, after]
                moves.append((int(np.flatnonzero(able)[-1]), after))
            here = after
        for bike, after in moves:
            self.movers[self.chosen[bike]] -= self.free_move[bike]
            self.movers[after] += self.free_move[bike]
            self._move(bike, after)

    def _move(self, bike: int, day: int) -> None:
        self.taken[self.chosen[bike]] -= 1
        self.taken[day] += 1
        self.chosen[bike] = day
