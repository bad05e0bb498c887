"""The phone desk: found, offered, held or confirmed, read back; and nothing typed is lost on the way."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bookings.models import Bike, BookingRequest, Closure, Rider, Shop, Visit
from config.demo.shop import open_shop
from tests.pages.bench_walk import staff_at, text
from tests.parts.visits import NOW, START, ask, pencilled

pytestmark = pytest.mark.django_db

NEW = {
    "name": "Suri Askham",
    "phone": "07700 900 321",
    "description": "silver scooter",
    "registration": "rb24 xyz",
    "kind": "scooter",
    "condition": "crusted",
    "tier": "winter-rinse",
    "remarks": "side stand is loose",
}


def times_on(page: str) -> list[str]:
    return re.findall(r'name="start" value="([^"]+)"', page)


def checked_time(page: str) -> str:
    found = re.search(r'name="start" value="([^"]+)"[^>]* checked', page)
    assert found, "no time is chosen beforehand"
    return found[1]


def made() -> tuple[int, int, int, int]:
    return Rider.objects.count(), Bike.objects.count(), BookingRequest.objects.count(), Visit.objects.count()


def take_new(do: str, *, moment: datetime = NOW, **changed: Any) -> Any:
    typed = NEW | {"submission_key": str(uuid4()), "do": do} | changed
    return staff_at(moment).post(reverse("staff:book-new"), typed)


def free_time() -> str:
    return times_on(text(take_new("times")))[0]


class TestFinding:
    def test_the_desk_lists_riders_with_bikes_and_last_visits(self, shop_world: Shop) -> None:
        visit = pencilled()
        ask(registration="RB11 BBB")
        page = text(staff_at().get(reverse("staff:calls"), {"q": "thorne"}))
        assert "Ilka Thorne" in page and "07700 900111" in page
        assert reverse("staff:book", args=[visit.bike.pk]) in page
        assert reverse("staff:visit", args=[visit.pk]) in page

    def test_one_rider_with_one_bike_gets_times_at_once(self, shop_world: Shop) -> None:
        ask()
        page = text(staff_at().get(reverse("staff:calls"), {"q": "rb11aaa"}))
        assert checked_time(page) == times_on(page)[0]
        assert 'value="rb11aaa"' in page, "what was typed stays in the box"

    def test_nobody_found_leads_to_the_form_for_a_new_caller(self, shop_world: Shop) -> None:
        page = text(staff_at().get(reverse("staff:calls"), {"q": "07700 900999"}))
        address = re.search(r'href="(/workbench/calls/new/[^"]+)"', page)
        assert address
        assert 'name="phone" value="07700 900999"' in text(staff_at().get(address[1]))

    @pytest.mark.parametrize("typed", ["", " ", "x", "%", "'; --", "\x00", "ab\x00c", "ﷺ" * 300])
    def test_any_search_is_answered(self, shop_world: Shop, typed: str) -> None:
        assert staff_at().get(reverse("staff:calls"), {"q": typed}).status_code == 200


class TestKnownBike:
    def test_held_and_read_back(self, shop_world: Shop) -> None:
        bike = ask().bike
        page = text(staff_at().get(reverse("staff:book", args=[bike.pk])))
        key = re.search(r'name="submission_key" value="([^"]+)"', page)
        assert key
        typed = {"tier": "season-guard", "condition": "dirty", "start": times_on(page)[0], "submission_key": key[1]}
        answer = staff_at().post(reverse("staff:book", args=[bike.pk]), typed | {"do": "pencil"})
        visit = Visit.objects.get()
        assert answer.headers["Location"] == reverse("staff:read-back", args=[visit.pk])
        assert (visit.state, visit.request.source, visit.request.taken_by) == ("pencilled", "phone", "Morgan")
        said = text(staff_at().get(answer.headers["Location"]))
        assert "held until <strong" in said
        assert (
            "Ilka Thorne, we have your grey twin (RB11 AAA) down for Season guard on Monday 3 November at 09:00" in said
        )

    def test_confirmed_at_once(self, shop_world: Shop) -> None:
        bike = ask().bike
        start = times_on(text(staff_at().get(reverse("staff:book", args=[bike.pk]))))[0]
        typed = {"tier": "season-guard", "condition": "dirty", "start": start, "submission_key": str(uuid4())}
        staff_at().post(reverse("staff:book", args=[bike.pk]), typed | {"do": "confirm"})
        assert Visit.objects.get().state == "confirmed"

    def test_three_days_are_offered_and_why_not_the_others(self, shop_world: Shop) -> None:
        Closure.objects.create(day=date(2025, 11, 4), reason="stocktaking")
        page = text(staff_at().get(reverse("staff:book", args=[ask().bike.pk])))
        assert "Tuesday 4 November: closed: stocktaking" in page
        assert {stamp[:10] for stamp in times_on(page)} == {"2025-11-03", "2025-11-05", "2025-11-06"}

    def test_later_days_follow_on(self, shop_world: Shop) -> None:
        bike = ask().bike
        typed = {"tier": "season-guard", "condition": "dirty", "submission_key": str(uuid4()), "do": "later"}
        first = text(staff_at().post(reverse("staff:book", args=[bike.pk]), typed))
        assert min(times_on(first))[:10] == "2025-11-06"
        again = typed | {"from_day": "2025-11-06", "remarks": "typed before"}
        second = text(staff_at().post(reverse("staff:book", args=[bike.pk]), again))
        assert min(times_on(second))[:10] == "2025-11-09"
        assert "typed before" in second

    def test_an_unknown_bike_is_not_found(self, shop_world: Shop) -> None:
        assert staff_at().get(reverse("staff:book", args=[999])).status_code == 404


class TestNewCaller:
    def test_times_can_be_asked_for_before_the_form_is_complete(self, shop_world: Shop) -> None:
        answer = take_new("times", name="", phone="07700")
        page = text(answer)
        assert answer.status_code == 200
        assert times_on(page) and 'role="alert"' not in page
        assert 'name="phone" value="07700"' in page and "side stand is loose" in page
        assert made() == (0, 0, 0, 0)

    def test_rider_bike_and_visit_are_made_together(self, shop_world: Shop) -> None:
        assert take_new("confirm", start=free_time(), recall_agreed="on").status_code == 302
        visit = Visit.objects.select_related("bike__rider", "request").get()
        rider = visit.bike.rider
        assert (rider.name, rider.phone_e164, rider.email) == ("Suri Askham", "+447700900321", "")
        assert (visit.bike.registration, visit.bike.kind) == ("RB24 XYZ", "scooter")
        assert (visit.request.condition_told, visit.request.recall_agreed) == ("crusted", True)
        assert visit.state == "confirmed"

    @pytest.mark.parametrize(
        ("field", "value"),
        [
            ("name", " "), ("phone", "12"), ("phone", ""), ("email", "not an address"), ("description", ""),
            ("kind", "tricycle"), ("condition", "spotless"), ("tier", "everything"), ("start", "2025-11-04T03:00Z"),
            ("start", ""), ("name", "n" * 121), ("registration", "r" * 21),
        ],
    )  # fmt: skip
    def test_a_mistake_is_said_at_its_field_and_nothing_is_lost(self, shop_world: Shop, field: str, value: str) -> None:
        typed: dict[str, Any] = {"start": free_time()} | {field: value}
        answer = take_new("pencil", **typed)
        page = text(answer)
        assert answer.status_code == 422
        assert "<title>Error:" in page and f'href="#id_{field}' in page
        assert "side stand is loose" in page
        assert field == "description" or "silver scooter" in page
        assert made() == (0, 0, 0, 0)

    def test_a_time_taken_meanwhile_leaves_no_half_booking_and_offers_others(self, shop_world: Shop) -> None:
        start = START.strftime("%Y-%m-%dT%H:%MZ")
        for n in "AB":
            pencilled(registration=f"RB11 AA{n}")
        before = made()
        answer = take_new("pencil", start=start)
        assert answer.status_code in {409, 422}
        assert "side stand is loose" in text(answer)
        assert start not in times_on(text(answer)) and times_on(text(answer))
        assert made() == before

    def test_one_form_sent_twice_is_one_visit(self, shop_world: Shop) -> None:
        key, start = str(uuid4()), free_time()
        answers = [take_new("confirm", start=start, submission_key=key) for _ in range(2)]
        places = {answer.headers.get("Location") for answer in answers}
        assert made() == (1, 1, 1, 1)
        assert len(places) == 1

    def test_a_form_sent_again_with_another_time_books_nothing_new_and_says_so(self, shop_world: Shop) -> None:
        key, times = str(uuid4()), times_on(text(take_new("times")))
        take_new("pencil", start=times[0], submission_key=key)
        typed = NEW | {"submission_key": key, "start": times[1], "do": "confirm"}
        again = staff_at().post(reverse("staff:book-new"), typed, follow=True)
        assert made() == (1, 1, 1, 1)
        assert "nothing new was booked" in text(again)
        assert Visit.objects.get().state == "pencilled", "the caller has not said yes to the earlier time"

    def test_a_held_time_is_seen_by_the_other_desk(self, shop_world: Shop) -> None:
        start = START.strftime("%Y-%m-%dT%H:%MZ")
        for n in "AB":
            pencilled(registration=f"RB11 AA{n}")
        assert start not in times_on(text(take_new("times")))
        late = NOW + timedelta(minutes=shop_world.pencil_hold_minutes - 30)
        assert start not in times_on(text(take_new("times", moment=late)))


class AnythingTyped(TestCase):
    """No input makes the desk fall over."""

    def setUp(self) -> None:
        open_shop()

    @settings(max_examples=25)
    @given(
        do=st.sampled_from(["times", "later", "pencil", "confirm", "dance"]),
        typed=st.dictionaries(st.sampled_from([*NEW, "start", "from_day", "submission_key"]), st.text(max_size=30)),
    )
    def test_is_answered(self, do: str, typed: dict[str, Any]) -> None:
        assert take_new(do, **typed).status_code in {200, 302, 409, 422}
