"""Random recall questions, and slow answers to them by other methods. All invented, for checks alone."""

from __future__ import annotations

import random
from collections.abc import Iterable
from datetime import date, timedelta
from itertools import product

from hypothesis import strategies as st

from reminders.protection.recall import Bike, Day, Plan, Weights

FIRST = date(2026, 9, 1)
Question = tuple[list[Day], list[Bike], date | None, Weights]


def on(number: int) -> date:
    return FIRST + timedelta(days=number)


@st.composite
def questions(
    draw: st.DrawFn, bikes: int, days: int, lengths: tuple[int, ...] = (1,), simple: bool = False
) -> Question:
    """Up to so many bikes and days. `simple` keeps the usual weights."""
    longest = max(lengths)
    room = [Day(on(n), draw(st.integers(0, 2 * longest))) for n in sorted(draw(st.sets(st.integers(0, days))))]
    asked = []
    for number in range(draw(st.integers(0, bikes))):
        ideal = draw(st.integers(-2, days + 2))
        window = (on(ideal - draw(st.integers(0, 5))), on(ideal), on(ideal + draw(st.integers(0, 5))))
        asked.append(Bike(f"bike {number}", *window, minutes=draw(st.sampled_from(lengths))))
    salt_from = draw(st.none() | st.integers(0, days).map(on))
    few = st.sampled_from([0, 0.25, 1, 2, 3])
    weights = Weights(draw(few), draw(few), draw(few), draw(few), draw(st.sampled_from([0, 3, 10, 2000])))
    return room, draw(st.permutations(asked)), salt_from, Weights() if simple else weights


def loss(bike: Bike, day: date | None, salt_from: date | None, weights: Weights) -> float:
    """The contract's formula, term by term."""
    if day is None:
        return weights.uninvited
    late, past = (day - bike.ideal).days, (day - bike.latest).days
    salted = (day - salt_from).days if salt_from else 0
    return (
        weights.early * max(0, -late)
        + weights.late * max(0, late)
        + weights.past_latest * max(0, past)
        + weights.salted * max(0, salted)
    )


def fits(days: Iterable[Day], bikes: Iterable[Bike], chosen: Iterable[date | None]) -> bool:
    """No bike before its earliest day, no day over its room."""
    left = {day.day: day.capacity for day in days}
    for bike, day in zip(bikes, chosen, strict=True):
        if day is not None:
            left[day] -= bike.minutes
            if day < bike.earliest:
                return False
    return all(room >= 0 for room in left.values())


def in_turn(bikes: Iterable[Bike]) -> list[Bike]:
    return sorted(bikes, key=lambda bike: (bike.ideal, bike.id))


def every_plan(question: Question) -> tuple[float, list[date | None]]:
    """Least loss by trying all; the first found counts, so bikes in turn get the earliest days that cost the same."""
    days, bikes, salt_from, weights = question
    queue = in_turn(bikes)
    choices: list[date | None] = [*(day.day for day in days), None]
    best: tuple[float, list[date | None]] | None = None
    for chosen in product(choices, repeat=len(queue)):
        if fits(days, queue, chosen):
            total = sum(loss(bike, day, salt_from, weights) for bike, day in zip(queue, chosen, strict=True))
            if best is None or total < best[0] - 1e-9:
                best = (total, list(chosen))
    assert best is not None
    return best


def first_due_first_served(question: Question, cheapest: bool) -> float:
    """Bikes in turn, each to the first, or to its cheapest, day with room."""
    days, bikes, salt_from, weights = question
    left = {day.day: day.capacity for day in days}
    total = 0.0
    for bike in in_turn(bikes):
        open_to = [day for day, room in left.items() if day >= bike.earliest and room >= bike.minutes]
        losses = [(loss(bike, day, salt_from, weights) if cheapest else 0.0, day) for day in open_to]
        if losses:
            day = min(losses)[1]
            left[day] -= bike.minutes
            total += loss(bike, day, salt_from, weights)
        else:
            total += weights.uninvited
    return total


def check_plan(question: Question, found: Plan) -> None:
    """The plan keeps the rules, and its total is the sum of its losses."""
    days, bikes, salt_from, weights = question
    chosen = [day for _, day in found.invites]
    assert [name for name, _ in found.invites] == [bike.id for bike in bikes]
    assert fits(days, bikes, chosen)
    total = sum(loss(bike, day, salt_from, weights) for bike, day in zip(bikes, chosen, strict=True))
    assert abs(found.total_loss - total) < 1e-6


def crowded(seed: int, lengths: tuple[int, ...]) -> Question:
    """Six bikes or fewer that want few days, at weights that make many plans cost the same."""
    chance = random.Random(seed)
    width = chance.randint(2, 5)
    room = [Day(on(number), chance.randint(0, 2) * max(lengths)) for number in range(width)]
    bikes = []
    for number in range(chance.randint(3, 6)):
        ideal = chance.randint(0, width)
        window = (on(ideal - chance.randint(0, 4)), on(ideal), on(ideal + chance.randint(0, 2)))
        bikes.append(Bike(f"bike {number}", *window, minutes=chance.choice(lengths)))
    salt_from = on(chance.randint(0, width)) if chance.random() < 0.5 else None
    early, late, past_latest, salted = (chance.choice([0, 0, 1, 1, 2, 0.5]) for _ in range(4))
    weights = Weights(early, late, past_latest, salted, uninvited=chance.choice([1, 2, 3, 2000]))
    return room, bikes, salt_from, weights
