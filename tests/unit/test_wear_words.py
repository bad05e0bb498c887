"""Ratings, films and paces in words."""

from __future__ import annotations

from math import log

import pytest

from reminders.protection.inspection import RATING_LIMITS_PERCENT
from reminders.text import FILM_LEFT, film_seen, pace, rust_seen

A4_MM2 = 210 * 297
# Sizes of everyday things in mm²: a pea of 9 mm, a fingertip of 14 mm, coins of 20 and 28 mm, a matchbox of 50 × 35 mm
# (common practice, rounded).
LIKE_MM2 = {9: 64, 8: 154, 7: 314, 6: 616, 5: 1750, 4: 3500}


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (1.0, "as fast as the table says"),
        (1.1, "about a tenth faster than the table says"),
        (1.25, "about a quarter faster than the table says"),
        (4 / 3, "about a third faster than the table says"),
        (1.5, "about half as fast again as the table says"),
        (2.0, "about twice as fast as the table says"),
        (3.0, "more than twice as fast as the table says"),
        (0.9, "about a tenth slower than the table says"),
        (0.75, "about a quarter slower than the table says"),
        (2 / 3, "about a third slower than the table says"),
        (0.5, "about half as fast as the table says"),
        (0.2, "less than half as fast as the table says"),
    ],
)
def test_a_pace_in_words(factor: float, words: str) -> None:
    assert pace(log(factor)) == words


def test_each_rating_has_words_of_its_own_and_the_share_of_area() -> None:
    words = [rust_seen(rating) for rating in range(11)]
    assert len(set(words)) == 11
    for index, limit in enumerate(RATING_LIMITS_PERCENT):
        assert f"≤ {limit:g} %" in rust_seen(9 - index)


@pytest.mark.parametrize("rating", LIKE_MM2)
def test_the_likenesses_are_about_as_large_as_their_share_of_a_sheet_of_a4(rating: int) -> None:
    assert 100 * LIKE_MM2[rating] / A4_MM2 == pytest.approx(RATING_LIMITS_PERCENT[9 - rating], rel=0.2)


def test_film_left_in_words() -> None:
    assert film_seen(None) == "not looked at"
    assert [film_seen(share) for share, _ in FILM_LEFT] == [str(words) for _, words in FILM_LEFT]
