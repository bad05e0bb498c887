"""Booking online: what is told is understood, kept and turned into one visit."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client

from bookings.models import Bike, ClimateMonth, Shop, Tier, Visit
from tests.pages.booking_walk import BIKE, NOW, RIDER, Walk, client_at, rows_made, starts_shown

pytestmark = pytest.mark.usefixtures("shop_world")


def test_what_was_told_becomes_a_pencilled_visit() -> None:
    walk = Walk()
    walk.to_last_page()
    answer = walk.ask(recall_agreed="on")
    assert answer.status_code == 302
    visit = Visit.objects.select_related("bike__rider", "tier", "request").get()
    assert (visit.state, visit.tier.code) == ("pencilled", "full-treatment")
    assert visit.starts_at == datetime.fromisoformat(walk.start)
    assert visit.pencilled_until is not None and visit.pencilled_until > NOW
    bike = visit.bike
    assert (bike.description, bike.registration, bike.kind) == ("Tarn 650, blue", "RB19 XYZ", "faired")
    assert (bike.storage, bike.road_salt, bike.riding_months) == ("outside", "heavy", [1, 2, 11, 12])
    assert (bike.km_per_year, bike.washes_per_year) == (12000, 20)
    assert (bike.rider.name, bike.rider.email, bike.rider.phone_e164) == (
        "Robin Ashdown",
        "robin@example.org",
        "+447700900123",
    )
    request = visit.request
    assert (request.source, request.condition_told, request.remarks, request.recall_agreed) == (
        "online",
        "crusted",
        "Alarm fitted.",
        True,
    )
    page = walk.client.get(answer.headers["Location"])
    assert page.status_code == 200
    assert "Your time is held, but not yet firm" in page.content.decode()


def test_no_address_carries_what_was_typed() -> None:
    walk = Walk()
    walk.to_last_page()
    walk.ask()
    assert len(walk.addresses) == 4
    for address in walk.addresses:
        for typed in ("rb19", "RB19", "Tarn", "Robin", "robin", "900123", "Alarm"):
            assert typed not in address


def test_the_first_page_names_each_tier_with_price_and_length(client: Client) -> None:
    page = client.get("/").content.decode()
    for tier in Tier.objects.all():
        assert tier.name in page
        assert f"/book/{tier.code}/bike/" in page
    assert "£285" in page
    assert "usually about" in page


def test_an_answer_that_is_missing_is_said_at_its_field_and_the_rest_is_kept() -> None:
    walk = Walk()
    walk.begin()
    page = walk.send("bike", BIKE | {"description": " ", "km_per_year": "many"})
    text = page.content.decode()
    assert page.status_code == 422
    assert "<title>Error: Your bike" in text
    assert 'href="#id_description"' in text
    assert 'href="#id_km_per_year"' in text
    assert 'aria-invalid="true"' in text
    assert 'aria-describedby="id_description_helptext id_description_error"' in text
    assert 'value="many"' in text
    assert 'value="rb19 xyz"' in text
    assert '<input type="radio" name="storage" value="outside" id="id_storage_0" checked>' in text
    assert rows_made() == (0, 0, 0, 0)


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("km_per_year", "-1"),
        ("km_per_year", "150001"),
        ("km_per_year", "9" * 400),
        ("washes_per_year", "366"),
        ("washes_per_year", "1e3"),
        ("kind", "hovercraft"),
        ("condition", ""),
        ("storage", "<script>"),
        ("road_salt", "0"),
        ("riding_months", []),
        ("riding_months", ["13"]),
        ("description", "x" * 121),
        ("registration", "x" * 21),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(field: str, typed: Any) -> None:
    walk = Walk()
    walk.begin()
    page = walk.send("bike", BIKE | {field: typed})
    assert page.status_code == 422
    assert field in page.context["form"].errors
    assert page.context["form"].errors.keys() == {field}


def test_numbers_may_be_grouped_and_names_hold_no_line_breaks() -> None:
    walk = Walk()
    walk.begin()
    walk.tell_bike(km_per_year="12 500", description="Tarn\r\n650\t\x00blue")
    walk.choose()
    walk.ask(name="Robin\nBcc: all@example.org")
    bike = Bike.objects.get()
    assert (bike.km_per_year, bike.description) == (12500, "Tarn 650 blue")
    assert bike.rider.name == "Robin Bcc: all@example.org"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": ""}, "name"),
        ({"email": "", "phone": ""}, "email"),
        ({"email": "robin at example"}, "email"),
        ({"email": "robin@example.org\nBcc: x@example.org"}, "email"),
        ({"phone": "12"}, "phone"),
        ({"phone": "call me"}, "phone"),
        ({"remarks": "x" * 2001}, "remarks"),
    ],
)
def test_a_rider_who_cannot_be_reached_is_asked_again(changes: dict[str, str], field: str) -> None:
    walk = Walk()
    walk.to_last_page()
    page = walk.ask(**changes)
    assert page.status_code == 422
    assert page.context["form"].errors.keys() == {field}
    assert "Tarn 650, blue" in page.content.decode()
    assert rows_made() == (0, 0, 0, 0)


def test_a_phone_alone_or_an_address_alone_is_enough() -> None:
    for number, changes in enumerate([{"email": ""}, {"phone": ""}], start=1):
        walk = Walk()
        walk.to_last_page()
        assert walk.ask(**changes).status_code == 302
        assert Visit.objects.count() == number


def test_going_back_and_reloading_show_what_was_told() -> None:
    walk = Walk()
    walk.to_last_page()
    back = walk.get("bike").content.decode()
    assert 'value="Tarn 650, blue"' in back
    assert '<input type="radio" name="condition" value="crusted" id="id_condition_2" checked>' in back
    assert back.count(" checked") == 4 + 4
    assert f'value="{walk.start}" id="id_start_0_0" checked' in walk.get("day").content.decode()
    page = walk.send("you", RIDER | {"name": "Half ty"}, back="day")
    assert page.headers["Location"] == walk.page("day")
    assert 'value="Half ty"' in walk.get("you").content.decode()
    assert rows_made() == (0, 0, 0, 0)


def test_a_start_that_is_not_free_is_refused_at_its_field() -> None:
    walk = Walk()
    walk.begin()
    walk.tell_bike()
    for start in ("", "nonsense", "2026-03-03T02:00Z", "2020-03-03T10:00Z", "2026-03-03T10:07Z"):
        page = walk.send("day", {"start": start})
        assert page.status_code == 422, start
        assert page.context["form"].errors.keys() == {"start"}


def test_a_free_start_that_was_not_shown_is_taken_all_the_same() -> None:
    walk = Walk()
    walk.begin()
    walk.tell_bike()
    unshown = (datetime.fromisoformat(starts_shown(walk.get("day"))[0]) + timedelta(minutes=15)).astimezone(UTC)
    assert walk.send("day", {"start": f"{unshown:%Y-%m-%dT%H:%M}Z"}).status_code == 302


def test_a_rider_who_comes_back_keeps_one_record_of_the_bike_however_its_plate_is_typed() -> None:
    for plate, start in (("rb19 xyz", 0), ("RB-19XYZ", 8)):
        walk = Walk()
        walk.begin()
        walk.tell_bike(registration=plate)
        walk.choose(start)
        assert walk.ask().status_code == 302
    assert rows_made() == (2, 2, 1, 1)


def test_more_days_follow_on_without_gap_or_repeat() -> None:
    walk = Walk()
    walk.begin()
    first = walk.tell_bike()
    following = walk.client.get(walk.page("day") + f"&from={first.context['offered'].next_day}")
    days = [[start[:10] for start in starts_shown(page)] for page in (first, following)]
    assert sorted(set(days[0])) == [f"2026-03-0{day}" for day in range(3, 8)]
    assert min(days[1]) == "2026-03-08"


def test_months_of_frost_are_given_their_longer_length(shop_world: Shop) -> None:
    walk = Walk(client=client_at(datetime(2026, 2, 25, 9, 0, tzinfo=UTC)))
    walk.begin()
    icy = {2: True, 3: False}
    for month, freezes in icy.items():
        ClimateMonth.objects.filter(month=month).update(minimum_temperature_c=-2 if freezes else 4)
    page = walk.tell_bike()
    winter, spring = page.context["offered"].lengths
    assert winter.promised_minutes > spring.promised_minutes
    assert "nights of frost" in page.content.decode()


def test_a_shop_not_set_up_says_so(client: Client) -> None:
    Shop.objects.all().delete()
    for address in ("/", "/book/full-treatment/bike/", "/book/anything/day/"):
        page = client.get(address)
        assert page.status_code == 200
        assert "Not open for booking yet" in page.content.decode()
