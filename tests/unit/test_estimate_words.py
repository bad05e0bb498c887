"""Estimates and their numbers in words."""

from __future__ import annotations

from datetime import date

import pytest

from reminders.text import course, number, salted_months

MARCH, JUNE = date(2027, 3, 4), date(2027, 6, 30)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (130.0, "days", "130 days"),
        (0.405, "1", "0.405"),
        (1e6, "km", "1,000,000 km"),
        (-5.0, "°C", "-5 °C"),
        (75.5, "% humidity", "75.5 % humidity"),
        (0.1 + 0.2, "1", "0.3"),
    ],
)
def test_numbers_are_written_as_people_write_them(value: float, unit: str, words: str) -> None:
    assert number(value, unit) == words


@pytest.mark.parametrize(
    ("percent", "half", "late", "today", "words"),
    [
        (
            100,
            date(2026, 12, 1),
            JUNE,
            None,
            "about 100 % left today, about half by December 2026, due March to June 2027",
        ),
        (40, None, JUNE, date(2027, 6, 30), "about 40 % left today, due March to June 2027"),
        (0, None, JUNE, date(2027, 7, 1), "little or nothing left today, was due March to June 2027"),
        (80, None, None, date(2030, 1, 1), "about 80 % left today, due March 2027 or later"),
    ],
)
def test_the_course_of_a_coat(
    percent: int, half: date | None, late: date | None, today: date | None, words: str
) -> None:
    assert course(percent, half, MARCH, late, today) == words


def test_a_salt_season_is_told_by_its_months() -> None:
    told = "Roads around here are usually salted from October 2026 to April 2027."
    assert salted_months(date(2026, 10, 28), date(2027, 4, 2)) == told
