"""Closed cases of the recall plan."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest

from reminders.protection.recall import Bike, Day, Weights, plan
from tests.properties.recall_worlds import check_plan, first_due_first_served

OCTOBER = date(2026, 10, 1)


def day(number: int, capacity: int = 1) -> Day:
    return Day(OCTOBER + timedelta(days=number - 1), capacity)


def bike(name: str | int, ideal: int, minutes: int = 1, earliest: int = -30, latest: int = 60) -> Bike:
    first, best, last = (OCTOBER + timedelta(days=number - 1) for number in (earliest, ideal, latest))
    return Bike(name, first, best, last, minutes)


def october(found: object) -> dict[str | int, int | None]:
    return {name: on.day if on else None for name, on in found.invites}  # type: ignore[attr-defined]


def test_the_loss_is_the_contracts_sum() -> None:
    """By hand: 4 days late, 2 past the latest, 1 past the first salt: 3*4 + 6*2 + 10*1."""
    found = plan([day(9)], [bike("a", 5, latest=7)], date(2026, 10, 8), Weights())
    assert (found.total_loss, found.optimal) == (34, True)


def test_early_days_cost_less_than_late_ones() -> None:
    assert october(plan([day(3), day(6)], [bike("a", 5)], None)) == {"a": 3}
    assert october(plan([day(1), day(6)], [bike("a", 5)], None)) == {"a": 6}


def test_salt_pulls_bikes_forward() -> None:
    ask = [day(8), day(12)], [bike("a", 12), bike("b", 12)]
    assert plan(*ask, None).total_loss == 4
    assert plan(*ask, date(2026, 10, 4)).total_loss == 4 + 40 + 80


def test_nobody_comes_before_their_earliest_day() -> None:
    assert october(plan([day(3)], [bike("a", 9, earliest=4)], None)) == {"a": None}


def test_no_days_no_room_no_bikes() -> None:
    assert plan([], [bike("a", 5)], None).total_loss == 2000
    assert october(plan([day(5, 0)], [bike("a", 5)], None)) == {"a": None}
    assert plan([day(5)], [], None).total_loss == 0
    assert plan([], [], None).invites == ()


def test_ties_go_to_the_earlier_ideal_then_the_id() -> None:
    assert october(plan([day(7), day(8)], [bike("a", 6), bike("b", 5)], None)) == {"b": 7, "a": 8}
    assert october(plan([day(5)], [bike("b", 5), bike("a", 5)], None)) == {"a": 5, "b": None}
    assert october(plan([day(5), day(6)], [bike(10, 5), bike(9, 5)], None)) == {9: 5, 10: 6}


def test_of_two_days_that_cost_the_same_the_earlier() -> None:
    assert october(plan([day(2), day(6)], [bike("a", 5)], None)) == {"a": 2}


def test_days_are_filled_by_minutes() -> None:
    bikes = [bike("full", 5, 240), bike("rinse", 5, 75), bike("other full", 5, 240)]
    found = plan([day(5, 320), day(6, 320)], bikes, None)
    assert october(found) == {"full": 5, "rinse": 5, "other full": 6}
    assert (found.total_loss, found.optimal) == (3, True)


def test_a_bike_longer_than_any_day_stays_uninvited() -> None:
    found = plan([day(5, 200)], [bike("full", 5, 240), bike("rinse", 5, 75)], None)
    assert october(found) == {"full": None, "rinse": 5}
    assert found.optimal


def test_a_day_that_costs_more_than_not_inviting_is_not_used() -> None:
    assert october(plan([day(20)], [bike("a", 5)], None, Weights(uninvited=44))) == {"a": None}
    assert october(plan([day(20)], [bike("a", 5)], None, Weights(uninvited=45))) == {"a": 20}


def test_decimal_weights_add_up_exactly() -> None:
    found = plan([day(8)], [bike("a", 5)], None, Weights(late=0.1))
    assert found.total_loss == 0.3


@pytest.mark.parametrize("weight", [-1, float("nan"), float("inf"), 2e6])
def test_weights_out_of_range_are_refused(weight: float) -> None:
    with pytest.raises(ValueError, match="the weight late"):
        Weights(late=weight)


def test_repeats_and_negatives_are_refused() -> None:
    for days, bikes in (
        ([day(5), day(5)], [bike("a", 5)]),
        ([day(5)], [bike("a", 5), bike("a", 6)]),
        ([day(5, -1)], [bike("a", 5)]),
        ([day(5)], [bike("a", 5, 0)]),
    ):
        with pytest.raises(ValueError, match=r"twice|or more"):
            plan(days, bikes, None)


def season(seed: int, bikes: int, days: int, capacity: int, lengths: tuple[int, ...]) -> tuple[list[Day], list[Bike]]:
    chance = random.Random(seed)
    asked = []
    for number in range(bikes):
        ideal = min(days, max(1, int(chance.gauss(days * 0.6, days * 0.12))))
        window = {"earliest": ideal - chance.randint(20, 60), "latest": ideal + chance.randint(5, 30)}
        asked.append(bike(number, ideal, chance.choice(lengths), **window))
    return [day(number, capacity) for number in range(1, days + 1)], asked


def test_a_season_of_500_bikes_beats_first_due_first_served() -> None:
    days, bikes = season(1, 500, 90, 6, (1,))
    salt_from = OCTOBER + timedelta(days=63)
    found = plan(days, bikes, salt_from)
    question = (days, bikes, salt_from, Weights())
    check_plan(question, found)
    assert found.optimal
    assert found.total_loss < 0.9 * first_due_first_served(question, cheapest=True)


def test_a_large_season_of_unequal_lengths_keeps_the_rules_and_does_not_claim_proof() -> None:
    days, bikes = season(2, 300, 90, 600, (45, 75, 195, 240))
    question = (days, bikes, OCTOBER + timedelta(days=63), Weights())
    found = plan(*question)
    check_plan(question, found)
    assert not found.optimal
    for cheapest in (True, False):
        assert found.total_loss <= first_due_first_served(question, cheapest)
