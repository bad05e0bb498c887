"""Readings of one odometer, whoever told them."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from reminders.protection.odometer import Noted, sound_readings

START = date(2025, 1, 1)
readings = st.lists(
    st.builds(
        Noted,
        on=st.integers(0, 30).map(lambda day: START + timedelta(days=day)),
        km=st.integers(0, 40),
        at_drop_off=st.booleans(),
    ),
    max_size=12,
)


@given(readings, st.randoms(use_true_random=False))
def test_what_holds_goes_forward_and_does_not_depend_on_the_order_of_telling(
    noted: list[Noted], chance: Random
) -> None:
    kept = sound_readings(noted)
    assert set(kept) <= set(noted)
    for before, after in pairwise(kept):
        assert before.on < after.on and before.km <= after.km
    shuffled = list(noted)
    chance.shuffle(shuffled)
    assert sound_readings(shuffled) == kept


@given(readings)
def test_nothing_told_displaces_what_the_workshop_read(noted: list[Noted]) -> None:
    own = sound_readings([reading for reading in noted if reading.at_drop_off])
    kept = sound_readings(noted)
    assert [reading for reading in kept if reading.at_drop_off] == own
    assert not noted or kept


def test_a_changed_clock_and_a_slip_of_a_digit() -> None:
    def day(number: int, km: int, at_drop_off: bool = False) -> Noted:
        return Noted(START + timedelta(days=number), km, at_drop_off)

    old, new = day(0, 80_000, at_drop_off=True), day(20, 1_500, at_drop_off=True)
    assert sound_readings([old, day(10, 200), day(12, 80_900), new]) == [day(10, 200), new]
    first, second = day(0, 21_500, at_drop_off=True), day(20, 23_000, at_drop_off=True)
    assert sound_readings([first, day(10, 222_000), day(15, 22_400), second]) == [first, day(15, 22_400), second]
    assert sound_readings([first, day(10, 2_100)]) == [first]
