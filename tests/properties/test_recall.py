"""The recall plan against trying everything, against other solvers, and against simpler ways of planning."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from reminders.protection.recall import Plan, plan
from tests.properties.recall_worlds import (
    Question,
    check_plan,
    crowded,
    every_plan,
    first_due_first_served,
    in_turn,
    loss,
    questions,
)

LENGTHS = (45, 75, 240)


def days_of(found: Plan) -> dict[str | int, object]:
    return dict(found.invites)


@given(questions(bikes=5, days=4))
def test_equals_trying_everything_ties_included(question: Question) -> None:
    least, chosen = every_plan(question)
    found = plan(*question)
    check_plan(question, found)
    assert found.optimal
    assert abs(found.total_loss - least) < 1e-9
    assert [days_of(found)[bike.id] for bike in in_turn(question[1])] == chosen


# Found by breaking the solver on purpose: in these, plans of equal cost differ in ways that take several exchanges.
KNOTTY = (138, 322, 324, 332, 380, 442, 481, 490, 603, 796, 1147, 1196, 1283, 1290)


@pytest.mark.parametrize("seed", [*range(60), *KNOTTY])
def test_equals_trying_everything_where_many_plans_cost_the_same(seed: int) -> None:
    question = crowded(seed, (1,))
    least, chosen = every_plan(question)
    found = plan(*question)
    assert abs(found.total_loss - least) < 1e-9
    assert [days_of(found)[bike.id] for bike in in_turn(question[1])] == chosen


@pytest.mark.parametrize("seed", range(40))
def test_unequal_lengths_where_many_plans_cost_the_same(seed: int) -> None:
    question = crowded(seed, (1, 2, 3))
    found = plan(*question)
    assert found.optimal
    assert abs(found.total_loss - every_plan(question)[0]) < 1e-9


@given(questions(bikes=7, days=2))
@settings(max_examples=15)
def test_seven_bikes_equal_trying_everything(question: Question) -> None:
    assert abs(plan(*question).total_loss - every_plan(question)[0]) < 1e-9


@given(questions(bikes=4, days=3, lengths=LENGTHS))
def test_unequal_lengths_equal_trying_everything_when_said_to_be_optimal(question: Question) -> None:
    found = plan(*question)
    check_plan(question, found)
    assert found.optimal
    assert abs(found.total_loss - every_plan(question)[0]) < 1e-9


def min_cost_flow(question: Question) -> float:
    """Referee: networkx network simplex on bikes -> days -> sink, with a way past the days for the uninvited."""
    days, bikes, salt_from, weights = question
    graph = nx.DiGraph()
    graph.add_node("sink", demand=len(bikes))
    for day in days:
        graph.add_edge(day.day, "sink", capacity=day.capacity, weight=0)
    for bike in bikes:
        graph.add_node(bike.id, demand=-1)
        graph.add_edge(bike.id, "sink", capacity=1, weight=int(weights.uninvited * 4))
        for day in days:
            if day.day >= bike.earliest:
                cost = int(loss(bike, day.day, salt_from, weights) * 4)
                graph.add_edge(bike.id, day.day, capacity=1, weight=cost)
    return nx.network_simplex(graph)[0] / 4 if bikes else 0.0


@given(questions(bikes=25, days=15))
def test_equals_min_cost_flow_by_networkx(question: Question) -> None:
    found = plan(*question)
    check_plan(question, found)
    assert found.total_loss == min_cost_flow(question)


@given(questions(bikes=60, days=25, simple=True))
@settings(max_examples=20)
def test_equals_the_linear_programme_by_highs(question: Question) -> None:
    days, bikes, salt_from, weights = question
    if not days or not bikes:
        return
    table = np.array([[loss(bike, day.day, salt_from, weights) for day in days] for bike in bikes])
    allowed = np.array([[day.day >= bike.earliest for day in days] for bike in bikes])
    rows = np.vstack([np.kron(np.eye(len(bikes)), np.ones(len(days))), np.kron(np.ones(len(bikes)), np.eye(len(days)))])
    limits = np.concatenate([np.ones(len(bikes)), [day.capacity for day in days]])
    bounds = np.stack([np.zeros(allowed.size), allowed.ravel()], axis=1)
    solved = linprog((table - weights.uninvited).ravel(), A_ub=rows, b_ub=limits, bounds=bounds)
    assert abs(plan(*question).total_loss - (solved.fun + weights.uninvited * len(bikes))) < 1e-6


@given(questions(bikes=20, days=15), st.booleans())
def test_never_worse_than_first_due_first_served(question: Question, cheapest: bool) -> None:
    assert plan(*question).total_loss <= first_due_first_served(question, cheapest) + 1e-9


@given(questions(bikes=8, days=10, lengths=LENGTHS), st.booleans())
@settings(max_examples=25)
def test_unequal_lengths_never_worse_than_first_due_first_served(question: Question, cheapest: bool) -> None:
    found = plan(*question)
    check_plan(question, found)
    assert found.total_loss <= first_due_first_served(question, cheapest) + 1e-9


@given(st.data(), st.sampled_from([(1,), LENGTHS]))
@settings(max_examples=30)
def test_the_order_of_bikes_and_days_changes_nobodys_day(data: Any, lengths: tuple[int, ...]) -> None:
    days, bikes, salt_from, weights = data.draw(questions(bikes=8, days=8, lengths=lengths))
    first = plan(days, bikes, salt_from, weights)
    shuffled = data.draw(st.permutations(days)), data.draw(st.permutations(bikes))
    again = plan(*shuffled, salt_from, weights)
    assert days_of(first) == days_of(again)
    assert (first.total_loss, first.optimal) == (again.total_loss, again.optimal)
    assert plan(days, bikes, salt_from, weights) == first


@given(st.data(), questions(bikes=15, days=10))
def test_more_room_never_costs_more(data: Any, question: Question) -> None:
    days, bikes, salt_from, weights = question
    if not days:
        return
    number = data.draw(st.integers(0, len(days) - 1))
    roomier = [replace(day, capacity=day.capacity + (n == number)) for n, day in enumerate(days)]
    assert plan(roomier, bikes, salt_from, weights).total_loss <= plan(*question).total_loss


@given(questions(bikes=10, days=8, simple=True))
def test_room_for_all_gives_everyone_their_own_best_day(question: Question) -> None:
    days, bikes, salt_from, weights = question
    roomy = [replace(day, capacity=len(bikes)) for day in days]
    found = plan(roomy, bikes, salt_from, weights)
    for bike in bikes:
        own = [loss(bike, day.day, salt_from, weights) for day in days if day.day >= bike.earliest]
        chosen = days_of(found)[bike.id]
        assert loss(bike, chosen, salt_from, weights) == min([*own, weights.uninvited])  # type: ignore[arg-type]


@given(questions(bikes=12, days=8), st.integers(2, 300))
def test_one_length_for_all_is_plain_assignment_in_other_units(question: Question, minutes: int) -> None:
    days, bikes, salt_from, weights = question
    longer = [replace(bike, minutes=minutes) for bike in bikes]
    larger = [replace(day, capacity=day.capacity * minutes + minutes - 1) for day in days]
    assert plan(larger, longer, salt_from, weights) == plan(*question)
