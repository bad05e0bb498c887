"""What is told of a bike: checked, kept with who said it, used at once, taken back when wrong."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from bookings.models import Bike, ClimateMonth, Shop
from bookings.rules import safety
from bookings.rules.errors import InputErrors
from bookings.services import jobs
from bookings.services.jobs import DropOffFacts
from reminders import selectors
from reminders.models import CoatDue, OdometerReading, Schedule, Told, Tour, Wash
from reminders.protection.documents import forecast_document, read_request
from reminders.services import planning, readings
from reminders.services.telling import MOST_TOLD, Teller, take_back
from tests.parts.stories import collected, confirmed

pytestmark = pytest.mark.django_db
AUTUMN = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
LATER = AUTUMN + timedelta(days=60)  # 2 January 2026
RIDER, STAFF = Teller(Told.Teller.RIDER, "Ines Halloway"), Teller(Told.Teller.STAFF, "Morgan")


@pytest.fixture
def bike(shop_world: Shop) -> Bike:
    """A salted all-year bike with three coats of early November and a schedule."""
    visit, moment = collected(AUTUMN)
    planning.plan(now=moment)
    return visit.bike


def tell_odometer(bike: Bike, on: date, km: int, teller: Teller = RIDER) -> OdometerReading:
    return readings.note_odometer(bike=bike, on=on, km=km, teller=teller, now=LATER)


def tell_tour(bike: Bike, first: date, last: date, km: int = 3000, salted: bool = True) -> Tour:
    return readings.note_tour(bike=bike, first_day=first, last_day=last, km=km, salted=salted, teller=RIDER, now=LATER)


def due(bike: Bike) -> dict[str, tuple[date | None, float]]:
    """Likely due day and protection left of each coat, as stored."""
    rows = CoatDue.objects.filter(schedule__bike=bike).select_related("coat")
    return {row.coat.zone: (row.due_likely, row.protection_left) for row in rows}


def refused(caught: pytest.ExceptionInfo[InputErrors]) -> dict[str, str]:
    return {error.field: error.message for error in caught.value.errors}


def test_a_salted_tour_brings_every_coat_nearer_at_once_and_taking_it_back_undoes_that(bike: Bike) -> None:
    tell_odometer(bike, date(2025, 12, 1), 22_000)
    before = due(bike)
    tour = tell_tour(bike, date(2025, 12, 5), date(2025, 12, 20))
    after = due(bike)
    assert set(after) == {"frame", "fasteners", "paint"}
    for zone, (likely, left) in after.items():
        was, was_left = before[zone]
        assert likely and was and likely < was, zone
        assert left <= was_left
    assert take_back(row=tour, teller=RIDER, now=LATER)
    assert due(bike) == before
    assert not take_back(row=tour, teller=RIDER, now=LATER)
    tour.refresh_from_db()
    assert (tour.taken_back_by, tour.taken_back_at) == ("Ines Halloway", LATER)
    assert (tour.teller, tour.told_by, tour.told_at) == ("rider", "Ines Halloway", LATER)


def test_a_bike_that_hardly_moved_is_due_later(bike: Bike) -> None:
    tell_odometer(bike, date(2025, 11, 10), 21_500)
    first = due(bike)
    tell_odometer(bike, date(2026, 1, 2), 21_510)
    assert all(left >= first[zone][1] for zone, (_, left) in due(bike).items())
    assert due(bike)["fasteners"][1] > first["fasteners"][1]


def test_washes_told_replace_the_habit_from_the_first_of_them(bike: Bike) -> None:
    wash = readings.note_wash(bike=bike, on=date(2025, 11, 20), teller=RIDER, now=LATER)
    assert readings.note_wash(bike=bike, on=date(2025, 11, 20), teller=STAFF, now=LATER) == wash
    assert Schedule.objects.get(bike=bike).inputs["washed_on"] == ["2025-11-20"]
    assert Wash.objects.count() == 1


def test_the_stored_schedule_can_be_derived_again_with_what_was_told(bike: Bike) -> None:
    tell_odometer(bike, date(2025, 12, 1), 22_400)
    tell_tour(bike, date(2025, 12, 5), date(2025, 12, 20))
    readings.note_wash(bike=bike, on=date(2025, 12, 21), teller=STAFF, now=LATER)
    schedule = Schedule.objects.get(bike=bike)
    asked = read_request(schedule.inputs)
    assert [(tour.from_, tour.to, tour.km, tour.salted) for tour in asked.use.tours] == [
        (date(2025, 12, 5), date(2025, 12, 20), 3000, True)
    ]
    assert [reading.km for reading in asked.use.odometer] == [21_500, 22_400]
    assert asked.use.washed_on == (date(2025, 12, 21),)
    assert schedule.as_of == LATER.date() and schedule.computed_at == LATER
    _, again, _ = selectors.derived(schedule)
    stored = {(row.coat.zone, str(row.due_likely)) for row in schedule.coats.select_related("coat")}
    assert {(coat["zone"], coat["due_likely"]) for coat in forecast_document(again)["coats"]} == stored


@pytest.mark.parametrize(
    ("on", "km", "field", "words"),
    [
        (date(2026, 1, 3), 22_000, "on", "still to come"),
        (date(2020, 1, 3), 20_000, "on", "too long ago"),
        (date(2025, 12, 1), 20_000, "km", "less than on 4 November 2025, when it read 21,500 km"),
        (date(2025, 10, 1), 22_000, "km", "more than on 4 November 2025, when it read 21,500 km"),
        (date(2025, 11, 6), 215_000, "km", "digit too many"),
        (date(2025, 11, 4), 21_600, "km", "We read 21,500 km on that day"),
        (date(2025, 12, 1), 3_000_000_000, "km", "no reading"),
    ],
)
def test_a_reading_that_cannot_be_true_is_refused_at_its_field(
    bike: Bike, on: date, km: int, field: str, words: str
) -> None:
    before = due(bike)
    with pytest.raises(InputErrors) as caught:
        tell_odometer(bike, on, km)
    assert words in refused(caught)[field]
    assert not OdometerReading.objects.exists() and due(bike) == before


def test_a_rider_corrects_their_own_word_but_not_the_workshops(bike: Bike) -> None:
    day = date(2025, 12, 1)
    tell_odometer(bike, day, 22_900)
    assert tell_odometer(bike, day, 22_400).km == 22_400
    assert [reading.km for reading in selectors.odometer(bike, day)] == [21_500, 22_400]
    own = tell_odometer(bike, day, 22_300, STAFF)
    with pytest.raises(InputErrors) as caught:
        tell_odometer(bike, day, 22_999)
    assert "We noted 22,300 km" in refused(caught)["km"]
    assert not take_back(row=own, teller=RIDER, now=LATER)
    assert take_back(row=own, teller=STAFF, now=LATER)
    assert OdometerReading.objects.filter(taken_back_at__isnull=True).count() == 0
    assert OdometerReading.objects.count() == 3


@pytest.mark.parametrize(
    ("first", "last", "km", "field"),
    [
        (date(2025, 12, 20), date(2025, 12, 5), 300, "last_day"),
        (date(2025, 12, 5), date(2026, 2, 1), 300, "last_day"),
        (date(2024, 1, 5), date(2025, 12, 20), 300, "last_day"),
        (date(2025, 12, 5), date(2025, 12, 6), 4001, "km"),
        (date(2025, 11, 12), date(2025, 11, 30), 500, "first_day"),
    ],
)
def test_a_tour_that_cannot_be_is_refused_at_its_field(
    bike: Bike, first: date, last: date, km: int, field: str
) -> None:
    tell_tour(bike, date(2025, 11, 10), date(2025, 11, 20))
    with pytest.raises(InputErrors) as caught:
        tell_tour(bike, first, last, km)
    assert list(refused(caught)) == [field]
    assert Tour.objects.count() == 1
    assert tell_tour(bike, date(2025, 11, 10), date(2025, 11, 20)) == Tour.objects.get()
    tell_tour(bike, date(2025, 11, 20), date(2025, 11, 22), 200)


def test_what_was_read_at_drop_off_counts_by_itself_for_coats_that_stay(bike: Bike) -> None:
    tell_odometer(bike, date(2025, 12, 1), 29_000)  # a slip of the rider's
    before = due(bike)
    visit = confirmed(LATER, bike=bike, tier="winter-rinse")
    moment = visit.starts_at
    job = jobs.drop_off(visit=visit, facts=DropOffFacts(22_100, "3"), now=moment, actor=STAFF.name)
    jobs.start_work(visit=visit, now=moment, actor=STAFF.name)
    for item in safety.open_items([], False):
        jobs.sign_off(job=job, item=item, now=moment, actor=STAFF.name)
    for act in (jobs.finish_work, jobs.make_ready):
        act(visit=visit, now=moment, actor=STAFF.name)
    jobs.hand_over(visit=visit, collected_by="Ines Halloway", now=moment, actor=STAFF.name)
    day = selectors.start_day(visit)
    assert [reading.km for reading in selectors.odometer(bike, day)] == [21_500, 22_100]
    assert [line.holds for line in selectors.odometer_lines(bike, day)] == [True, False, True]
    [schedule] = Schedule.objects.filter(bike=bike)
    assert schedule.computed_at == moment
    assert [reading["km"] for reading in schedule.inputs["odometer"]] == [21_500, 22_100]
    assert due(bike)["frame"][0] != before["frame"][0]


def test_without_a_climate_what_is_told_is_kept_all_the_same(bike: Bike) -> None:
    ClimateMonth.objects.filter(month=5).delete()
    tell_tour(bike, date(2025, 12, 5), date(2025, 12, 20))
    assert Tour.objects.count() == 1


def test_nobody_can_fill_the_record_of_a_bike_without_end(bike: Bike) -> None:
    told = {"teller": "rider", "told_by": "Ines", "told_at": AUTUMN}
    Wash.objects.bulk_create(
        Wash(bike=bike, on=date(2023, 1, 3) + timedelta(days=number), **told) for number in range(MOST_TOLD)
    )
    with pytest.raises(InputErrors):
        readings.note_wash(bike=bike, on=date(2025, 12, 1), teller=RIDER, now=LATER)
