"""Phone numbers as people type them. Numbers are from the ranges Ofcom reserves for drama."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from bookings.contact import read_phone, show_phone


@pytest.mark.parametrize(
    "typed",
    ["07700 900123", "07700900123", "(07700) 900-123", "+44 7700 900123", "0044 7700 900123", " 07700.900.123 "],
)
def test_one_number_however_it_is_typed(typed: str) -> None:
    assert read_phone(typed, "GB") == "+447700900123"


def test_a_foreign_number_needs_its_country() -> None:
    assert read_phone("+1 202 555 0123", "GB") == "+12025550123"


@pytest.mark.parametrize("typed", ["", "hello", "12", "07700 9", "960123", "07700 900123 456 789 000", "+999 1234567"])
def test_what_cannot_be_a_number_is_refused_in_words(typed: str) -> None:
    with pytest.raises(ValidationError, match="check this phone number"):
        read_phone(typed, "GB")


@given(st.integers(0, 999), st.sampled_from(["07700 900{:03}", "01632 960{:03}"]))
def test_reading_what_is_shown_gives_the_same_number(last: int, shape: str) -> None:
    stored = read_phone(shape.format(last), "GB")
    assert read_phone(show_phone(stored, "GB"), "GB") == stored
    assert read_phone(show_phone(stored, "FR"), "FR") == stored


def test_shown_as_people_write_it_at_home_and_abroad() -> None:
    assert show_phone("+447700900123", "GB") == "07700 900123"
    assert show_phone("+447700900123", "FR") == "+44 7700 900123"
    assert show_phone("", "GB") == ""


@given(st.text(max_size=30))
def test_no_text_breaks_the_reader(typed: str) -> None:
    try:
        stored = read_phone(typed, "GB")
    except ValidationError:
        return
    assert stored.startswith("+")
    assert stored[1:].isdecimal()
    assert len(stored) <= 16
