"""Which change a visit allows in which state, and where it leads."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from bookings.rules.types import VisitState


class Action(StrEnum):
    """What may happen to a visit; the value is the word the trail of changes keeps."""

    CONFIRM = "confirmed"
    MOVE = "moved"
    CALL_OFF = "called off"
    LAPSE = "lapsed"
    MISS = "missed"
    DROP_OFF = "dropped off"
    START_WORK = "started work"
    FINISH_WORK = "finished work"
    MAKE_READY = "ready"
    HAND_OVER = "collected"


class WrongState(ValueError):
    """The visit has moved on, or is not there yet; says so in plain words."""


_S = VisitState

# Each action: the states it starts from and the one it leads to; None leaves the state as it is.
RULES: Mapping[Action, tuple[frozenset[VisitState], VisitState | None]] = MappingProxyType(
    {
        Action.CONFIRM: (frozenset({_S.PENCILLED}), _S.CONFIRMED),
        Action.MOVE: (frozenset({_S.PENCILLED, _S.CONFIRMED}), None),
        Action.CALL_OFF: (frozenset({_S.PENCILLED, _S.CONFIRMED, _S.DROPPED_OFF}), _S.CALLED_OFF),
        Action.LAPSE: (frozenset({_S.PENCILLED}), _S.CALLED_OFF),
        Action.MISS: (frozenset({_S.CONFIRMED}), _S.MISSED),
        Action.DROP_OFF: (frozenset({_S.CONFIRMED}), _S.DROPPED_OFF),
        Action.START_WORK: (frozenset({_S.DROPPED_OFF}), _S.IN_WORK),
        Action.FINISH_WORK: (frozenset({_S.IN_WORK}), _S.CURING),
        Action.MAKE_READY: (frozenset({_S.CURING}), _S.READY),
        Action.HAND_OVER: (frozenset({_S.READY}), _S.COLLECTED),
    }
)

ENDED: frozenset[VisitState] = frozenset({_S.COLLECTED, _S.CALLED_OFF, _S.MISSED})
# The bike is on the premises: keys in the house, a place taken.
IN_THE_HOUSE: frozenset[VisitState] = frozenset({_S.DROPPED_OFF, _S.IN_WORK, _S.CURING, _S.READY})


def allowed(state: VisitState) -> tuple[Action, ...]:
    """Actions open in `state`, in the order they are usually taken."""
    return tuple(action for action, (sources, _) in RULES.items() if state in sources)


def after(state: VisitState, action: Action) -> VisitState:
    """The state that `action` leads to from `state`; raises WrongState when it may not be taken."""
    sources, target = RULES[action]
    if state not in sources:
        needed = " or ".join(sorted(source.replace("_", " ") for source in sources))
        raise WrongState(f"This visit is {state.replace('_', ' ')}; “{action}” needs it to be {needed}.")
    return target or state
