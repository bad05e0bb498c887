"""What staff find on returning bikes: weighed against the table, used for that bike at once and for others soon."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from math import exp

import pytest
from django.db import IntegrityError, transaction

from bookings.models import Bike, ClimateMonth, Shop
from bookings.rules.errors import InputErrors
from bookings.rules.types import Zone
from bookings.services.requests import BikeFacts
from reminders import selectors
from reminders.models import CoatDue, ParameterChange, Schedule, Told, ZoneFinding
from reminders.protection.documents import read_request
from reminders.protection.due import forecast
from reminders.protection.inspection import Finding, learn
from reminders.protection.parameter_table import DEFAULTS
from reminders.services import inspection, planning, readings
from reminders.services.inspection import ZoneFound
from reminders.services.telling import Teller, take_back
from tests.parts.stories import collected

pytestmark = pytest.mark.django_db
AUTUMN = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
SPRING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ON = SPRING.date()
STAFF = Teller(Told.Teller.STAFF, "Morgan")
GONE = ZoneFound(Zone.FASTENERS, rating=10, film_left=0.0)
SOUND = ZoneFound(Zone.FASTENERS, rating=10, film_left=0.75)


def treated(name: str, plate: str) -> Bike:
    """A bike that went home with three coats and a schedule."""
    phone = f"+4477009001{len(name):02d}"
    facts = BikeFacts(description=name, registration=plate, km_per_year=12_000)
    visit, moment = collected(AUTUMN, name=name, email=f"{plate.lower()}@example.org", phone=phone, bike=facts)
    planning.plan(now=moment)
    return visit.bike


@pytest.fixture
def bike(shop_world: Shop) -> Bike:
    return treated("Ines Halloway", "A1")


def grade(bike: Bike, *found: ZoneFound, on: date = ON) -> int:
    return inspection.note_findings(bike=bike, on=on, found=found, teller=STAFF, now=SPRING)


def due(bike: Bike, zone: str = "fasteners") -> date:
    likely = CoatDue.objects.get(schedule__bike=bike, coat__zone=zone).due_likely
    assert likely is not None
    return likely


def test_film_gone_early_brings_the_bikes_coats_nearer_and_film_left_puts_them_off(bike: Bike) -> None:
    before = due(bike)
    grade(bike, GONE)
    sooner = due(bike)
    grade(bike, SOUND)
    assert sooner < before < due(bike)
    assert ZoneFinding.objects.filter(taken_back_at__isnull=True).count() == 1
    assert ZoneFinding.objects.count() == 2
    [row] = selectors.findings(bike)
    assert take_back(row=row, teller=STAFF, now=SPRING)
    assert due(bike) == before


def test_what_is_kept_is_what_the_table_had_expected(bike: Bike) -> None:
    grade(bike, GONE)
    [row] = selectors.findings(bike)
    asked = read_request(selectors.forecast_input(row.coat.job.visit, ON))
    plain = forecast(asked.site, asked.use, asked.coats, ON)
    [estimate] = [coat for coat in plain.coats if coat.zone == Zone.FASTENERS]
    assert 1 - estimate.protection_left == pytest.approx(min(1.0, row.forecast_worn))
    rate = learn([Finding(bike.pk, row.coat.product_id, row.forecast_worn, 0.0, 0.0)], DEFAULTS).rate(
        bike.pk, row.coat.product_id
    )
    taught = {coat["zone"]: coat for coat in Schedule.objects.get(bike=bike).inputs["coats"]}
    assert taught["fasteners"]["log_rate"] == pytest.approx(rate.mean)
    assert taught["fasteners"]["log_rate_sd"] == pytest.approx(rate.sd)
    # The bike's own part is known for a product never found, the product's for a bike never found.
    assert 0 < taught["paint"]["log_rate"] < taught["fasteners"]["log_rate"]


def test_grading_twice_alike_is_once_and_a_later_finding_of_a_coat_replaces_the_earlier(bike: Bike) -> None:
    grade(bike, SOUND, on=ON - timedelta(days=20))
    grade(bike, SOUND, on=ON - timedelta(days=20))
    assert ZoneFinding.objects.count() == 1
    grade(bike, GONE)
    assert len(selectors.findings(bike)) == 2
    [newest] = selectors.newest_findings()
    assert newest.film_left == 0.0


def test_other_bikes_learn_of_the_product_by_the_next_plan_a_few_at_a_time(bike: Bike) -> None:
    other = treated("Bo Lindqvist", "B2")
    planning.plan(now=SPRING)
    before = due(other)
    grade(bike, GONE)
    assert due(other) == before
    assert planning.plan(now=SPRING).schedules == 1
    assert due(other) < before
    assert planning.plan(now=SPRING).schedules == 0
    basis = {schedule.basis for schedule in Schedule.objects.all()}
    assert basis == {selectors.knowledge().basis}


def test_a_finding_that_tells_nothing_asks_no_bike_again(bike: Bike) -> None:
    treated("Bo Lindqvist", "B2")
    planning.plan(now=SPRING)
    grade(bike, ZoneFound(Zone.FRAME, rating=10))
    assert planning.plan(now=SPRING).schedules == 0


def test_a_tour_told_later_is_weighed_against_what_was_found(bike: Bike) -> None:
    grade(bike, GONE)
    [row] = selectors.findings(bike)
    expected, sure = row.forecast_worn, due(bike, "paint")
    tour = {"first_day": date(2025, 12, 1), "last_day": date(2025, 12, 20), "km": 9000, "salted": True}
    readings.note_tour(bike=bike, teller=STAFF, now=SPRING, **tour)  # type: ignore[arg-type]
    row.refresh_from_db()
    assert row.forecast_worn > expected
    assert due(bike, "paint") != sure


def test_changed_numbers_are_weighed_before_schedules_are_made_with_them(bike: Bike) -> None:
    grade(bike, GONE)
    planning.plan(now=SPRING)
    [row] = selectors.findings(bike)
    expected = row.forecast_worn
    ParameterChange.objects.create(
        key="coat.heavy_film.nominal_life_days", value=165.0, since=SPRING, by="Morgan", why="the new tin lasts less"
    )
    assert planning.plan(now=SPRING).schedules == 1
    row.refresh_from_db()
    assert row.forecast_worn > 1.3 * expected
    assert planning.plan(now=SPRING).schedules == 0
    rate = Schedule.objects.get(bike=bike).inputs["coats"][1]["log_rate"]
    assert exp(rate) < 1.5


@pytest.mark.parametrize(
    ("zone", "on", "field"),
    [
        (Zone.FORK, ON, "fork"),
        (Zone.FRAME, date(2025, 11, 10), "frame"),
        (Zone.FRAME, date(2026, 3, 3), "on"),
    ],
)
def test_what_cannot_be_graded_is_refused_at_its_field(bike: Bike, zone: Zone, on: date, field: str) -> None:
    with pytest.raises(InputErrors) as caught:
        grade(bike, SOUND, ZoneFound(zone, 5), on=on)
    assert field in {error.field for error in caught.value.errors}
    assert not ZoneFinding.objects.exists()


def test_the_database_itself_refuses_what_is_no_finding(bike: Bike) -> None:
    coat = CoatDue.objects.filter(schedule__bike=bike)[0].coat
    told = {"bike": bike, "coat": coat, "on": ON, "teller": "staff", "told_by": "Morgan", "told_at": SPRING}
    for facts in ({"rating": 11, "forecast_worn": 1}, {"rating": 5, "forecast_worn": 0}):
        with pytest.raises(IntegrityError), transaction.atomic():
            ZoneFinding.objects.create(**told, **facts)
    with pytest.raises(IntegrityError), transaction.atomic():
        ZoneFinding.objects.create(**told, rating=5, forecast_worn=1, film_left=1.5)


def test_without_a_climate_nothing_was_expected_and_nothing_is_kept(bike: Bike) -> None:
    ClimateMonth.objects.filter(month=5).delete()
    with pytest.raises(InputErrors):
        grade(bike, SOUND)
    assert not ZoneFinding.objects.exists()
