"""Booking online when things go wrong: nothing typed is lost, nothing is booked twice, nothing breaks."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from bookings.models import BookingRequest, Closure, Tier, Visit
from bookings.services import bookings, requests
from config.demo.shop import open_shop
from tests.pages.booking_walk import BIKE, NOW, RIDER, Walk, client_at, rows_made, starts_shown

pytestmark = pytest.mark.usefixtures("shop_world")


def take(start: str, places: int) -> None:
    """Somebody else takes all places at `start` for as long as the full treatment lasts."""
    tier = Tier.objects.get(code="full-treatment")
    for number in range(places):
        facts = requests.BikeFacts(description=f"Other {number}")
        rider = requests.RiderFacts("Somebody Else", email=f"else{number}@example.org")
        key = requests.UUID(int=number + 1)
        asked = requests.receive(
            submission_key=key, source=BookingRequest.Source.PHONE, tier=tier, rider=rider, bike=facts, now=NOW
        )
        bookings.pencil(request=asked, start=datetime.fromisoformat(start), now=NOW, actor="morgan")


def test_sending_twice_makes_one_visit() -> None:
    walk = Walk()
    walk.to_last_page()
    sealed = walk.sealed
    first = walk.ask()
    second = walk.send("you", RIDER, draft=sealed)
    assert first.headers["Location"] == second.headers["Location"]
    assert rows_made() == (1, 1, 1, 1)
    assert "Sending it again has changed nothing" in walk.client.get(second.headers["Location"]).content.decode()
    assert "has been made already" in walk.get("you").content.decode()


def test_a_booking_survives_the_loss_of_the_session_between_all_pages() -> None:
    walk = Walk()
    walk.begin()
    walk.tell_bike()
    start = starts_shown(walk.get("day"))[0]
    walk.client.cookies.clear()
    walk.followed(walk.send("day", {"start": start}))
    walk.client.cookies.clear()
    answer = walk.ask()
    assert answer.status_code == 302
    assert walk.client.get(answer.headers["Location"]).status_code == 200
    assert rows_made() == (1, 1, 1, 1)


def test_a_page_reloaded_after_the_session_is_lost_asks_for_the_bike_again() -> None:
    walk = Walk()
    walk.to_last_page()
    walk.client.cookies.clear()
    page = walk.client.get(walk.page("you"), follow=True)
    assert page.redirect_chain[-1][0] == walk.page("bike")
    assert "We need to know the bike first" in page.content.decode()


def test_a_time_taken_meanwhile_loses_nothing_and_books_nothing() -> None:
    walk = Walk()
    walk.to_last_page()
    take(walk.start, places=2)
    before = rows_made()
    page = walk.ask()
    text = page.content.decode()
    assert page.status_code == 409
    assert "<title>Error: Choose a day" in text
    assert "Somebody else has just taken that time." in text
    assert rows_made() == before
    assert walk.start not in starts_shown(page)
    other = starts_shown(page)[0]
    again = walk.followed(walk.send("day", {"start": other}))
    for kept in ("Robin Ashdown", "robin@example.org", "07700 900123", "Alarm fitted."):
        assert kept in again.content.decode()
    assert walk.ask().status_code == 302
    assert Visit.objects.get(bike__rider__name="Robin Ashdown").starts_at == datetime.fromisoformat(other)


@pytest.mark.parametrize("open_for", [timedelta(days=1), timedelta(days=400)])
def test_a_page_left_open_too_long_asks_for_another_time(open_for: timedelta) -> None:
    walk = Walk()
    walk.to_last_page()
    page = walk.client.post(
        walk.page("you"), RIDER | {"draft": walk.sealed}, headers={"X-Rimebook-Now": (NOW + open_for).isoformat()}
    )
    assert page.status_code == 409
    assert "Nothing has been booked" in page.content.decode()
    assert rows_made() == (0, 0, 0, 0)


def test_a_day_closed_meanwhile_is_refused() -> None:
    walk = Walk()
    walk.to_last_page()
    Closure.objects.create(day=datetime.fromisoformat(walk.start).date(), reason="flood")
    page = walk.ask()
    assert page.status_code == 409
    assert "The shop is not open" in page.content.decode()


def test_an_altered_draft_is_refused_and_books_nothing() -> None:
    walk = Walk()
    walk.to_last_page()
    other = Walk()
    other.to_last_page()
    for forged in (walk.sealed[:-3] + "abc", "x", "a:b:c", walk.sealed[5:], other.sealed, "\x00"):
        page = walk.send("you", RIDER, draft=forged)
        assert page.status_code == 400
        assert "arrived damaged" in page.content.decode()
    assert rows_made() == (0, 0, 0, 0)


def test_a_key_alone_opens_nobodys_visit() -> None:
    walk = Walk()
    walk.to_last_page()
    walk.ask()
    stranger = Walk(tier=walk.tier)
    stranger.key = walk.key
    stranger.tell_bike()
    stranger.choose(3)
    page = stranger.ask(name="Stranger", email="stranger@example.org", phone="")
    assert page.status_code == 409
    assert "/visit/" not in page.content.decode()
    assert rows_made() == (1, 1, 1, 1)


def test_addresses_made_up_lead_nowhere_or_to_the_beginning(client: Client) -> None:
    assert client.get("/book/gold-plating/bike/").status_code == 404
    assert client.get("/book/full-treatment/nonsense/").status_code == 404
    for key in ("", "?draft=", "?draft=17", "?draft=%00", "?draft=" + "f" * 500):
        for step in ("bike", "day", "you"):
            answer = client.get(f"/book/full-treatment/{step}/{key}")
            assert answer.status_code == 302
            assert answer.headers["Location"].startswith("/book/full-treatment/bike/?draft=")
    walk = Walk()
    walk.begin()
    walk.tell_bike()
    for asked in ("yesterday", "2026-13-01", "1900-01-01", "9999-12-31", "%00"):
        assert walk.client.get(walk.page("day") + f"&from={asked}").status_code == 200


def test_a_tier_withdrawn_can_no_longer_be_booked() -> None:
    walk = Walk()
    walk.to_last_page()
    Tier.objects.update(offered=False)
    assert walk.ask().status_code == 404
    assert "Nothing can be booked online just now" in walk.client.get("/").content.decode()


def test_a_form_without_its_token_comes_back_whole_and_can_be_sent_again() -> None:
    walk = Walk(client=client_at(enforce_csrf_checks=True))
    walk.begin()
    page = walk.send("bike", BIKE)
    assert page.status_code == 403
    text = page.content.decode()
    for value in ("Tarn 650, blue", "rb19 xyz", "crusted"):
        assert f'value="{value}"' in text
    answers = dict(BIKE) | {"csrfmiddlewaretoken": page.context["csrf_token"]}
    assert walk.send("bike", answers).status_code == 302
    elsewhere = walk.client.post("/visit/made-up/call-off/", {"reason": "echo me"})
    assert elsewhere.status_code == 403
    assert "echo me" not in elsewhere.content.decode()


class GarbageNeverBreaksAPage(TestCase):
    def setUp(self) -> None:
        open_shop()

    @settings(max_examples=25)
    @given(
        posted=st.dictionaries(
            st.sampled_from([*BIKE, *RIDER, "start", "draft", "back"]),
            st.one_of(st.text(max_size=40), st.lists(st.text(max_size=5), max_size=3)),
        ),
        step=st.sampled_from(["bike", "day", "you"]),
    )
    def test_posted_garbage(self, posted: dict[str, Any], step: str) -> None:
        walk = Walk()
        walk.begin()
        walk.tell_bike()
        answer = walk.client.post(walk.page(step), {**BIKE, **posted})
        assert answer.status_code in {302, 400, 409, 422}
