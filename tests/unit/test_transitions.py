"""Every action from every state: the permitted ones lead where they should, all others are refused in words."""

from __future__ import annotations

import itertools

import pytest

from bookings.rules.transitions import ENDED, IN_THE_HOUSE, RULES, Action, WrongState, after, allowed
from bookings.rules.types import VisitState

S, A = VisitState, Action

# Written out by hand from the way a visit goes, not read off the table under test.
PERMITTED = {
    (S.PENCILLED, A.CONFIRM): S.CONFIRMED,
    (S.PENCILLED, A.MOVE): S.PENCILLED,
    (S.PENCILLED, A.CALL_OFF): S.CALLED_OFF,
    (S.PENCILLED, A.LAPSE): S.CALLED_OFF,
    (S.CONFIRMED, A.MOVE): S.CONFIRMED,
    (S.CONFIRMED, A.CALL_OFF): S.CALLED_OFF,
    (S.CONFIRMED, A.MISS): S.MISSED,
    (S.CONFIRMED, A.DROP_OFF): S.DROPPED_OFF,
    (S.DROPPED_OFF, A.CALL_OFF): S.CALLED_OFF,
    (S.DROPPED_OFF, A.START_WORK): S.IN_WORK,
    (S.IN_WORK, A.FINISH_WORK): S.CURING,
    (S.CURING, A.MAKE_READY): S.READY,
    (S.READY, A.HAND_OVER): S.COLLECTED,
}
FORBIDDEN = sorted(set(itertools.product(S, A)) - set(PERMITTED))


@pytest.mark.parametrize(("state", "action"), PERMITTED, ids=lambda value: value.value)
def test_a_permitted_action_leads_to_its_state(state: VisitState, action: Action) -> None:
    assert after(state, action) is PERMITTED[state, action]
    assert action in allowed(state)


@pytest.mark.parametrize(("state", "action"), FORBIDDEN, ids=lambda value: value.value)
def test_every_other_action_is_refused_in_plain_words(state: VisitState, action: Action) -> None:
    with pytest.raises(WrongState) as refusal:
        after(state, action)
    assert state.replace("_", " ") in str(refusal.value)
    assert "_" not in str(refusal.value)
    assert action not in allowed(state)


def test_the_table_names_every_action_once() -> None:
    assert set(RULES) == set(Action)


@pytest.mark.parametrize("state", sorted(ENDED))
def test_nothing_happens_to_a_visit_that_has_ended(state: VisitState) -> None:
    assert allowed(state) == ()


def test_every_state_is_reached_from_a_pencilled_visit() -> None:
    reached = {S.PENCILLED}
    while more := {after(state, action) for state in reached for action in allowed(state)} - reached:
        reached |= more
    assert reached == set(S)


def test_a_bike_in_the_house_leaves_by_the_gate_of_safety_checks_or_before_work_began() -> None:
    """The only way out once work has begun is through `ready`."""
    for state in IN_THE_HOUSE - {S.DROPPED_OFF, S.READY}:
        assert {after(state, action) for action in allowed(state)} <= IN_THE_HOUSE
    assert allowed(S.READY) == (A.HAND_OVER,)
