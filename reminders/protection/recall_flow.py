"""Bikes of one length to days with places: the cheapest assignment, exactly, with ties settled by turn.

Successive shortest paths on the graph of days (Edmonds and Karp 1972, Journal of the ACM 19:248-264, from memory):
each bike takes the way that costs least in all, others moving on along it. A price per day says what one more place
on it would save; every bike is always on a day where loss plus price is least, which proves the plan cheapest. With
few days and many bikes this is faster than a general linear programme, and whole numbers keep it exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Table = NDArray[np.int64]
_NONE = 2**60


def assign(cost: Table, places: Table) -> Table:
    """Column per row of `cost` (bikes in order of turn; days in order, then "uninvited") at the least total.

    `places` counts the room of each day; "uninvited" has room for all. Entries of 2**60 are forbidden. Among the
    cheapest assignments the first row gets the first column it can have, then the second row, and so on.
    """
    flow = _Flow(cost, np.append(places, len(cost)))
    for bike in range(len(cost)):
        flow.insert(bike)
    return _Ties(cost, flow).settled()


class _Flow:
    """Bikes placed so far, at the least total, with a price per column; columns with room left are free of price."""

    def __init__(self, cost: Table, room: Table) -> None:
        self.cost, self.room = cost, room
        self.taken = np.zeros(len(room), dtype=np.int64)
        self.price = np.zeros(len(room), dtype=np.int64)
        self.chosen = np.full(len(cost), -1, dtype=np.int64)
        # Least extra loss of sending one bike from a column (row) on to another.
        self.onward = np.full((len(room), len(room)), _NONE, dtype=np.int64)

    def insert(self, bike: int) -> None:
        """Dijkstra from the bike to the nearest column with room; prices rise on the full columns passed."""
        reach = self.cost[bike] + self.price
        before = np.full(len(reach), -1)
        passed = np.zeros(len(reach), dtype=bool)
        while True:
            here = int(np.where(passed, 2 * _NONE, reach).argmin())
            if self.taken[here] < self.room[here]:
                break
            passed[here] = True
            through = self.onward[here] + (self.price + (reach[here] - self.price[here]))
            nearer = (through < reach) & ~passed
            reach[nearer] = through[nearer]
            before[nearer] = here
        self.price[passed] += reach[here] - reach[passed]
        self.taken[here] += 1
        self._send(bike, here, before)

    def _send(self, bike: int, last: int, before: NDArray[np.intp]) -> None:
        """Move one bike along each step of the way to `last`, and place `bike` at its beginning."""
        moves, column = [], last
        while before[column] >= 0:
            leaving = int(before[column])
            members = np.flatnonzero(self.chosen == leaving)
            dearer = self.cost[members, column] - self.cost[members, leaving]
            moves.append((int(members[dearer.argmin()]), column))
            column = leaving
        moves.append((bike, column))
        for mover, new in moves:
            self.chosen[mover] = new
        for _, new in moves[1:]:
            rows = self.cost[self.chosen == new]
            self.onward[new] = (rows - rows[:, [new]]).min(axis=0)
        arrived = self.cost[moves[0][0]]
        np.minimum(self.onward[last], arrived - arrived[last], out=self.onward[last])


class _Ties:
    """Goes through all cheapest assignments by exchanges that cost nothing, and keeps the first in order of turn."""

    def __init__(self, cost: Table, flow: _Flow) -> None:
        dearness = cost + flow.price
        self.free_move = dearness == dearness.min(axis=1, keepdims=True)
        self.unpriced = flow.price == 0
        self.chosen, self.room, self.taken = flow.chosen, flow.room, flow.taken
        self.movers = np.zeros((len(self.room), len(self.room)), dtype=np.int64)
        np.add.at(self.movers, self.chosen, self.free_move.astype(np.int64))

    def settled(self) -> Table:
        for bike in range(len(self.chosen)):
            day = int(self.chosen[bike])
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
                # The last who can: those who had their turn come before, and stay.
                able = (self.chosen == here) & self.free_move[:, after]
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
