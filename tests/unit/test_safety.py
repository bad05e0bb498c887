"""What may never be coated, and what must be signed off. The cautions are common practice; no source."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bookings.rules.safety import (
    COATED_ZONES,
    NEVER_COATED,
    ForbiddenCoat,
    OpenSafetyItems,
    check_coat,
    open_items,
    required_items,
)
from bookings.rules.types import CoatKind, SafetyItem, Zone

DEADLY = {Zone.BRAKE_DISCS, Zone.BRAKE_PADS, Zone.TYRES, Zone.GRIPS, Zone.PEGS, Zone.SEAT}


def test_the_zones_that_can_kill_are_exactly_these() -> None:
    assert set(NEVER_COATED) == DEADLY
    assert set(COATED_ZONES) == set(Zone) - DEADLY


@pytest.mark.parametrize(("zone", "kind"), itertools.product(sorted(DEADLY), CoatKind))
def test_no_coat_of_any_kind_on_a_zone_that_can_kill(zone: Zone, kind: CoatKind) -> None:
    with pytest.raises(ForbiddenCoat) as refusal:
        check_coat(zone, kind)
    assert NEVER_COATED[zone] in str(refusal.value)


@pytest.mark.parametrize(("zone", "kind"), itertools.product(COATED_ZONES, CoatKind))
def test_other_zones_take_every_kind(zone: Zone, kind: CoatKind) -> None:
    check_coat(zone, kind)


def test_torque_is_owed_only_where_fasteners_came_out() -> None:
    assert set(required_items(fasteners_removed=True)) == set(SafetyItem)
    assert set(required_items(fasteners_removed=False)) == set(SafetyItem) - {SafetyItem.FASTENERS_TORQUED}


@given(st.sets(st.sampled_from(SafetyItem)), st.booleans())
def test_open_items_are_the_required_ones_not_signed(signed: set[SafetyItem], removed: bool) -> None:
    found = open_items(signed, removed)
    assert set(found) == set(required_items(removed)) - signed
    assert list(found) == [item for item in SafetyItem if item in found]


def test_the_refusal_to_release_carries_what_is_open() -> None:
    refusal = OpenSafetyItems((SafetyItem.BRAKES_CLEAR, SafetyItem.BRAKE_FUNCTION))
    assert refusal.items == (SafetyItem.BRAKES_CLEAR, SafetyItem.BRAKE_FUNCTION)
    assert "brakes_clear" in str(refusal)
