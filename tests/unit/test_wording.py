"""Figures put into words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bookings.models import Shop
from bookings.templatetags import wording


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        (1, "15 minutes"),
        (45, "45 minutes"),
        (60, "1 hour"),
        (64, "1 hour"),
        (75, "1¼ hours"),
        (120, "2 hours"),
        (225, "3¾ hours"),
        (232.6, "4 hours"),
        (1440, "24 hours"),
    ],
)
def test_lengths_are_told_in_quarters_of_an_hour(minutes: float, words: str) -> None:
    assert wording.length(minutes) == words


@given(st.floats(15, 3000))
def test_a_length_is_never_more_than_half_a_quarter_off(minutes: float) -> None:
    words = wording.length(minutes)
    if words.endswith("minutes"):
        told = float(words.split()[0])
    else:
        number = words.split()[0]
        quarters = {"¼": 15, "½": 30, "¾": 45}
        told = int(number.rstrip("¼½¾")) * 60 + quarters.get(number[-1], 0)
    assert abs(told - minutes) <= 7.5


@pytest.mark.parametrize(
    ("currency", "minor_units", "words"),
    [
        ("GBP", 28500, "£285"),
        ("GBP", 28550, "£285.50"),
        ("EUR", 123400, "€1,234"),
        ("CHF", 9900, "99 CHF"),
        ("JPY", 9900, "9,900 JPY"),
        ("GBP", 0, "£0"),
        ("GBP", 5, "£0.05"),
    ],
)
def test_money(currency: str, minor_units: int, words: str) -> None:
    assert wording.price(minor_units, Shop(currency=currency)) == words


def test_reasons_leave_out_what_hardly_matters() -> None:
    told = wording.reasons([("faired", 1.1), ("clean", 0.85), ("icy", 1.25), ("own jobs", 1.01)])
    assert told == [
        "with a fairing or touring bodywork: about 10 % longer",
        "clean, just dusty: about 15 % shorter",
        "nights of frost, when wash water freezes: about 25 % longer",
    ]


def test_phone_numbers_are_spaced_as_at_home() -> None:
    home = Shop(phone_region="GB")
    assert wording.phone("+447700900123", home) == "07700 900123"
    assert wording.phone("+447700900123", Shop(phone_region="DE")) == "+44 7700 900123"
    assert wording.phone("", home) == ""
