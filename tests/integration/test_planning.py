"""What time makes due: schedules, care sheets, the word the day before, holds that lapse."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.test import Client

from bookings.models import ClimateMonth, Shop
from bookings.rules.types import RoadSalt, Storage
from bookings.services import bookings
from bookings.services.requests import BikeFacts
from reminders import selectors
from reminders.models import CoatDue, Notice, Schedule
from reminders.protection.documents import read_request
from reminders.protection.due import forecast
from reminders.services import planning, sending
from tests.parts.stories import COATS, MORNING, STAFF, collected, confirmed, pencilled

pytestmark = pytest.mark.django_db
Kind, State = Notice.Kind, Notice.State
LONDON = ZoneInfo("Europe/London")
LAST_YEAR = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
GARAGED = BikeFacts(
    description="Red single",
    registration="TE57 DRY",
    storage=Storage.HEATED,
    riding_months=(5, 6, 7, 8, 9),
    km_per_year=3000,
    washes_per_year=6,
    road_salt=RoadSalt.NONE,
)


def test_a_collected_bike_gets_its_schedule_from_stored_inputs(shop_world: Shop) -> None:
    visit, moment = collected()
    assert planning.plan(now=moment).schedules == 1
    assert planning.plan(now=moment).schedules == 0
    schedule = Schedule.objects.get(visit=visit)
    rows = {(row.coat.zone, row.coat.kind): row for row in schedule.coats.all()}
    assert set(rows) == {(zone, kind) for zone, kind, _ in COATS}
    # The inputs alone give every figure again.
    asked = read_request(schedule.inputs)
    again = forecast(asked.site, asked.use, asked.coats, asked.as_of)
    for estimate in again.coats:
        row = rows[(estimate.zone, estimate.kind)]
        assert (row.due_early, row.due_likely, row.due_late) == (
            estimate.due_early,
            estimate.due_likely,
            estimate.due_late,
        )
        assert sum(row.wear_share.values()) == pytest.approx(1)
    assert schedule.model_version == again.model_version
    assert asked.use.storage == Storage.OUTSIDE and [reading.km for reading in asked.use.odometer] == [21_500]


def test_a_dry_summer_bike_is_due_much_later_than_a_winter_commuter(shop_world: Shop) -> None:
    collected()
    _, moment = collected(name="Bo Lind", email="bo@example.org", phone="+447700900124", bike=GARAGED)
    planning.plan(now=moment)
    due = {row.schedule.bike.description: row for row in CoatDue.objects.filter(coat__kind="heavy_film")}
    assert due["Grey twin"].due_likely and due["Red single"].due_likely
    assert due["Red single"].due_likely - due["Grey twin"].due_likely > timedelta(days=365)
    assert due["Grey twin"].act_by and not due["Red single"].act_by


def test_without_the_climate_staff_are_told_and_the_care_sheet_still_goes(
    shop_world: Shop, staff_client: Client
) -> None:
    ClimateMonth.objects.filter(month__gt=9).delete()
    _, moment = collected()
    planned = planning.plan(now=moment)
    assert (planned.schedules, planned.care_sheets) == (0, 1)
    page = staff_client.get("/workbench/notices/", headers={"X-Rimebook-Now": moment.isoformat()})
    assert b"9 of 12 months" in page.content
    sending.sweep(now=Notice.objects.get(kind=Kind.CARE_SHEET).due_at)
    [sheet] = [message for message in mail.outbox if message.subject.startswith("Care sheet")]
    assert "due again" not in sheet.body and "squeeze both brakes" in sheet.body


def test_habits_the_forecast_refuses_are_told_and_stop_nobody_else(shop_world: Shop) -> None:
    wrong, _ = collected()
    wrong.bike.km_per_year = 400_000
    wrong.bike.save()
    _, moment = collected(name="Bo Lind", email="bo@example.org", phone="+447700900124", bike=GARAGED)
    assert planning.plan(now=moment).schedules == 1
    assert "km_per_year" in selectors.schedule_obstacle(wrong, moment)


def test_the_care_sheet_says_what_is_due_and_that_it_is_an_estimate(shop_world: Shop) -> None:
    _, moment = collected()
    planning.plan(now=moment)
    notice = Notice.objects.get(kind=Kind.CARE_SHEET)
    assert 9 <= notice.due_at.astimezone(LONDON).hour < 19
    sending.sweep(now=notice.due_at)
    [sheet] = [message for message in mail.outbox if message.subject.startswith("Care sheet")]
    for words in (
        "frame: clear film, due again",
        "estimate",
        "no promise",
        "do not wash it before",
        "squeeze both brakes",
    ):
        assert words in sheet.body
    assert planning.plan(now=moment + timedelta(days=1)).care_sheets == 0


def test_the_word_the_day_before_comes_in_the_afternoon_and_only_if_it_still_fits(shop_world: Shop) -> None:
    visit = confirmed(MORNING - timedelta(days=2))
    visit = bookings.move(
        visit=visit, start=datetime(2026, 10, 9, 9, 0, tzinfo=LONDON), now=MORNING, actor=STAFF, reason=""
    )
    for day in range(5):
        planning.plan(now=MORNING + timedelta(days=day))
    notice = Notice.objects.get(kind=Kind.DAY_BEFORE)
    assert notice.due_at == datetime(2026, 10, 8, 16, 0, tzinfo=LONDON)
    bookings.move(visit=visit, start=datetime(2026, 10, 12, 9, 0, tzinfo=LONDON), now=MORNING, actor=STAFF, reason="")
    sending.sweep(now=notice.due_at)
    notice.refresh_from_db()
    assert notice.state == State.DROPPED and "moved" in notice.outcome


def test_a_visit_confirmed_on_the_evening_before_gets_no_second_word(shop_world: Shop) -> None:
    visit = pencilled(MORNING - timedelta(days=2))
    evening = datetime.combine(selectors.start_day(visit) - timedelta(days=1), time(17, 0), LONDON)
    bookings.confirm(visit=visit, now=evening, actor=STAFF)
    planning.plan(now=evening)
    assert not Notice.objects.filter(kind=Kind.DAY_BEFORE).exists()


def test_a_hold_that_lapses_tells_the_rider(shop_world: Shop) -> None:
    visit = pencilled()
    sending.sweep(now=MORNING)
    late = MORNING + timedelta(days=2)
    assert planning.plan(now=late).lapsed == 1
    sending.sweep(now=late)
    assert mail.outbox[-1].subject.startswith("Called off") and "not confirmed in time" in mail.outbox[-1].body
    visit.refresh_from_db()
    assert visit.state == "called_off"
