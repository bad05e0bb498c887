"""Riders press the last button at the same moment, through the real pages on the real engine."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bookings.models import Bike, BookingRequest, Claim, Rider, Visit
from config.demo.shop import open_shop
from tests.pages.booking_walk import RIDER, Walk, client_at
from tests.parts.crowds import all_at_once

pytestmark = pytest.mark.django_db(transaction=True)


def posting(walk: Walk, **changes: str) -> Callable[[], Any]:
    """The last button of a walk, pressed in a browser of its own."""
    client = client_at()
    answers = RIDER | {"draft": walk.sealed} | changes
    return lambda: client.post(walk.page("you"), answers)


def test_one_form_sent_five_times_at_once_is_one_visit() -> None:
    open_shop()
    walk = Walk()
    walk.to_last_page()
    answers = all_at_once([posting(walk) for _ in range(5)])
    assert {answer.status_code for answer in answers} == {302}
    assert len({answer.headers["Location"] for answer in answers}) == 1
    assert [model.objects.count() for model in (Visit, BookingRequest, Bike, Rider)] == [1, 1, 1, 1]
    assert Claim.objects.count() == Visit.objects.get().booked_minutes // 15


def test_five_riders_after_two_places_get_two_and_three_are_told() -> None:
    open_shop()
    walks = [Walk() for _ in range(5)]
    for walk in walks:
        walk.to_last_page()
    assert len({walk.start for walk in walks}) == 1
    presses = [posting(walk, email=f"rider{number}@example.org") for number, walk in enumerate(walks)]
    answers = all_at_once(presses)
    assert sorted(answer.status_code for answer in answers) == [302, 302, 409, 409, 409]
    assert [model.objects.count() for model in (Visit, BookingRequest, Bike, Rider)] == [2, 2, 2, 2]
    assert len(set(Visit.objects.values_list("bay", flat=True))) == 2
    for answer in answers:
        assert answer.status_code == 302 or "everything you told us is kept" in answer.content.decode()
