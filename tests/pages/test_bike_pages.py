"""Pages of a bike: what its rider and the workshop tell of it, refused at the field with nothing lost, and findings."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client

from bookings.clock import HEADER
from bookings.links import bike_token
from bookings.models import Bike, ClimateMonth, Shop
from reminders.models import CoatDue, OdometerReading, Schedule, Told, Tour, Wash, ZoneFinding
from reminders.services import planning, readings
from reminders.services.telling import Teller
from tests.pages.bench_walk import staff_at
from tests.parts.stories import collected

pytestmark = pytest.mark.django_db
AUTUMN = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
SPRING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
TOUR = {
    "what": "tour",
    "tour-first_day": "2025-12-05",
    "tour-last_day": "2025-12-20",
    "tour-km": "3000",
    "tour-salted": "yes",
}


@pytest.fixture
def bike(shop_world: Shop) -> Bike:
    visit, moment = collected(AUTUMN)
    planning.plan(now=moment)
    return visit.bike


def rider_at(moment: datetime = SPRING) -> Client:
    return Client(headers={HEADER: moment.isoformat()})


def own(bike: Bike) -> str:
    return f"/bike/{bike_token(bike)}/"


def bench(bike: Bike) -> str:
    return f"/workbench/bikes/{bike.pk}/"


def words(response: Any) -> str:
    """What a page says, without its markup."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", str(response.content, "utf-8"))))


def value_of(response: Any, name: str) -> str:
    found = re.search(rf'<input[^>]*name="{name}"[^>]*>', str(response.content, "utf-8"))
    assert found, name
    value = re.search(r'value="([^"]*)"', found[0])
    return value[1] if value else ""


def due() -> dict[str, date]:
    """The likely due day of each coat, by its zone."""
    return {row.coat.zone: row.due_likely or date.max for row in CoatDue.objects.select_related("coat")}


@pytest.mark.parametrize("page", [own, bench])
def test_a_tour_told_moves_the_months_and_the_page_says_from_what_to_what(bike: Bike, page: Any) -> None:
    client = rider_at() if page is own else staff_at(SPRING)
    answer = client.post(page(bike), TOUR)
    assert (answer.status_code, answer.headers["Location"]) == (302, page(bike) + "#told")
    tour = Tour.objects.get()
    assert (tour.teller, tour.told_by) == (("rider", "Ines Halloway") if page is own else ("staff", "Morgan"))
    seen = words(client.get(page(bike)))
    assert "Noted. " in seen and ": now due " in seen and "(was " in seen
    assert "3,000 km on salted roads, until 20 December 2025" in seen


@pytest.mark.parametrize("page", [own, bench])
@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"what": "odometer", "odometer-on": "2026-02-01", "odometer-km": "2150"}, "odometer-km", "less than on 4 Nov"),
        ({"what": "odometer", "odometer-on": "2026-02-01", "odometer-km": "many"}, "odometer-km", "whole number"),
        ({"what": "odometer", "odometer-on": "2026-02-30", "odometer-km": "22000"}, "odometer-on", "day that exists"),
        ({"what": "wash", "wash-on": "2027-01-01"}, "wash-on", "still to come"),
        ({"what": "wash", "wash-on": ""}, "wash-on", "Give the day."),
        ({**TOUR, "tour-km": "90000"}, "tour-km", "more than anybody rides"),
        ({**TOUR, "tour-last_day": "2025-12-01"}, "tour-last_day", "before the first"),
    ],
)
def test_a_mistake_is_said_at_its_field_and_nothing_typed_is_lost(
    bike: Bike, page: Any, typed: dict[str, str], field: str, said: str
) -> None:
    client = rider_at() if page is own else staff_at(SPRING)
    before = list(Schedule.objects.values())
    answer = client.post(page(bike), typed)
    assert answer.status_code == 422
    html = str(answer.content, "utf-8")
    around = html[html.index(f'id="id_{field}_error"') :][:400]
    assert said in unescape(around)
    assert f'href="#id_{field}"' in html and "<title>Error:" in html
    for name, value in typed.items():
        if name not in ("what", "tour-salted"):
            assert value_of(answer, name) == value
    assert f'<details id="tell-{typed["what"]}" open>' in html
    assert html.count(" open>") == 1
    assert list(Schedule.objects.values()) == before
    assert not OdometerReading.objects.exists() and not Wash.objects.exists() and not Tour.objects.exists()


def test_a_day_to_act_by_is_named_until_it_has_passed(bike: Bike) -> None:
    row = CoatDue.objects.exclude(act_by=None).order_by("act_by")[0]
    assert row.act_by is not None
    CoatDue.objects.exclude(pk=row.pk).update(act_by=None)
    on_the_day = datetime.combine(row.act_by, time(9), UTC)
    assert "better by" in words(rider_at(on_the_day).get(own(bike)))
    assert "better by" not in words(rider_at(on_the_day + timedelta(days=1)).get(own(bike)))


def test_an_unanswered_question_about_salt_is_said_at_it(bike: Bike) -> None:
    answer = rider_at().post(own(bike), {key: value for key, value in TOUR.items() if key != "tour-salted"})
    assert answer.status_code == 422 and "Say whether the roads were salted." in words(answer)


def test_a_rider_takes_back_what_they_told_but_not_what_the_workshop_did(bike: Bike) -> None:
    client = rider_at()
    client.post(own(bike), {"what": "wash", "wash-on": "2026-01-05"})
    readings.note_wash(bike=bike, on=date(2026, 1, 9), teller=Teller(Told.Teller.STAFF, "Morgan"), now=SPRING)
    mine, theirs = Wash.objects.order_by("on")
    page = str(client.get(own(bike)).content, "utf-8")
    assert f'name="row" value="{mine.pk}"' in page and f'name="row" value="{theirs.pk}"' not in page
    for row in (mine, theirs):
        client.post(own(bike), {"what": "take-back", "kind": "wash", "row": str(row.pk)})
    standing = Wash.objects.filter(taken_back_at__isnull=True)
    assert [row.pk for row in standing] == [theirs.pk]
    assert "nothing to take back" in words(client.get(own(bike)))


@pytest.mark.parametrize("row", ["", "x", "-1", "²", "99999999999999999999", "7"])
@pytest.mark.parametrize("kind", ["wash", "visit", ""])
def test_taking_back_what_is_not_there_changes_nothing(bike: Bike, kind: str, row: str) -> None:
    assert rider_at().post(own(bike), {"what": "take-back", "kind": kind, "row": row}).status_code == 302
    assert staff_at(SPRING).post(bench(bike) + "findings/", {"take_back": row}).status_code == 302


def test_nobody_tells_of_a_bike_that_is_not_theirs(bike: Bike) -> None:
    token = bike_token(bike)
    Bike.objects.update(link_serial=1)
    for address in (f"/bike/{token}/", "/bike/forged/"):
        assert rider_at().post(address, TOUR).status_code == 404
    assert Client().post(bench(bike), TOUR).status_code == 302
    assert Client().get(bench(bike) + "findings/").headers["Location"].startswith("/workbench/sign-in/")
    assert not Tour.objects.exists()
    assert staff_at().get("/workbench/bikes/4711/").status_code == 404
    refused = Client(enforce_csrf_checks=True).post(own(Bike.objects.get()), TOUR)
    assert refused.status_code == 403


def test_what_is_found_is_graded_in_plain_words_and_the_page_tells_what_was_learnt(bike: Bike) -> None:
    client = staff_at(SPRING)
    form = words(client.get(bench(bike) + "findings/"))
    assert "a matchbox in all (≤ 2.5 %)" in form and "no rust and no white bloom" in form
    for zone in ("Frame", "Fasteners", "Paint"):
        assert zone in form
    assert "Exhaust" not in form and "qualified mechanic" in form
    before = due()
    typed = {"on": "2026-03-02", "paint": "10", "paint-film": "0.25", "frame": "", "fasteners": ""}
    answer = client.post(bench(bike) + "findings/", typed)
    assert answer.status_code == 302
    finding = ZoneFinding.objects.get()
    assert (finding.rating, finding.film_left, finding.told_by) == (10, 0.25, "Morgan")
    seen = words(client.get(bench(bike)))
    assert re.search(r"Coats on this bike wear about (half as fast again as|twice as fast as) the table says", seen)
    assert "Ceramic coat, two layers wears about a" in seen and "on all bikes taken together" in seen
    after = due()
    assert after["paint"] < before["paint"] and after["frame"] <= before["frame"]
    assert "What we found on this bike" in words(rider_at().get(own(bike)))
    client.post(bench(bike) + "findings/", {"take_back": str(finding.pk)})
    seen = words(client.get(bench(bike)))
    assert "Taken back." in seen and "Nothing graded yet" in seen


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"on": "2026-03-02"}, "Grade at least one part."),
        ({"on": "2026-03-02", "frame-film": "0.5"}, "Grade the rust too"),
        ({"on": "2026-03-02", "frame": "11"}, "valid choice"),
        ({"on": "2026-03-02", "frame": "5", "frame-film": "lots"}, "valid choice"),
        ({"on": "2026-03-09", "frame": "5"}, "still to come"),
        ({"on": "2025-11-08", "frame": "5"}, "too young"),
        ({"on": "soon", "frame": "5"}, "day that exists"),
    ],
)
def test_a_mistake_in_grading_is_said_and_nothing_is_lost(bike: Bike, typed: dict[str, str], said: str) -> None:
    answer = staff_at(SPRING).post(bench(bike) + "findings/", {**typed, "paint": typed.get("paint", "")})
    assert answer.status_code == 422 and said in words(answer)
    assert value_of(answer, "on") == typed["on"]
    if typed.get("frame") == "5":
        assert '<option value="5" selected>' in str(answer.content, "utf-8")
    assert not ZoneFinding.objects.exists()


def test_without_a_climate_grading_says_why_it_must_wait(bike: Bike) -> None:
    ClimateMonth.objects.filter(month=4).delete()
    answer = staff_at(SPRING).post(bench(bike) + "findings/", {"on": "2026-03-02", "frame": "5"})
    assert answer.status_code == 422 and "11 of 12 months" in words(answer)
    assert staff_at(SPRING).get(bench(bike)).status_code == 200


def test_a_bike_without_coats_has_its_pages_too(bike: Bike) -> None:
    CoatDue.objects.all().delete()
    Schedule.objects.all().delete()
    assert "No estimate yet" in words(staff_at(AUTUMN).get(bench(bike)))
    assert "nothing to grade" in words(staff_at(AUTUMN).get(bench(bike) + "findings/"))
    assert rider_at().post(own(bike), TOUR).status_code == 302


def test_a_staff_member_comes_from_the_visit_to_the_bike_and_its_findings(bike: Bike) -> None:
    visit = bike.visits.get()
    assert f'href="{bench(bike)}"' in str(staff_at(SPRING).get(f"/workbench/visits/{visit.pk}/").content, "utf-8")
    assert f'href="{bench(bike)}findings/"' in str(staff_at(SPRING).get(bench(bike)).content, "utf-8")


def test_what_riders_type_cannot_become_markup(bike: Bike) -> None:
    answer = rider_at().post(own(bike), {"what": "odometer", "odometer-on": '"><script>', "odometer-km": "<b>1"})
    assert answer.status_code == 422
    assert b"<script>" not in answer.content and b"<b>1" not in answer.content


def test_habits_mended_in_the_records_are_used_when_staff_ask_again(bike: Bike) -> None:
    client, before = staff_at(SPRING), due()
    Bike.objects.update(storage="heated", road_salt="none")
    answer = client.post(bench(bike), {"what": "again"})
    assert answer.status_code == 302 and ": now due " in words(client.get(bench(bike)))
    assert all(day > before[zone] for zone, day in due().items())
    Bike.objects.update(km_per_year=500_000)
    client.post(bench(bike), {"what": "again"})
    assert "It could not be made: km_per_year: must be a number" in words(client.get(bench(bike)))
    client.post(bench(bike), TOUR)
    assert "Noted. It counts as soon as the estimate can be made again." in words(client.get(bench(bike)))
