"""Today and the week say what the diary holds."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.urls import reverse

from bookings import selectors
from bookings.models import Closure, Shop
from bookings.services import bookings
from tests.pages.bench_walk import staff_at, text
from tests.parts.visits import NOW, START, WHO, confirmed, in_work, pencilled

pytestmark = pytest.mark.django_db


def today_at(hours: int = 0) -> str:
    return text(staff_at(START + timedelta(hours=hours)).get(reverse("staff:today")))


def test_a_bike_in_work_is_in_the_house_with_its_next_thing(shop_world: Shop) -> None:
    job = in_work()
    page = today_at(1)
    assert "Today, Tuesday 4 November" in page
    assert f'href="{reverse("staff:bench", args=[job.visit.pk])}"' in page
    assert "key 7" in page


def test_who_comes_today_and_who_did_not_come(shop_world: Shop) -> None:
    visit = confirmed()
    drop_off = reverse("staff:act", args=[visit.pk, "drop-off"])
    assert drop_off in today_at(-1)
    next_day = today_at(24)
    assert "Booked before today and not here" in next_day
    assert reverse("staff:act", args=[visit.pk, "missed"]) in next_day


def test_a_held_time_waits_with_number_and_hour_of_lapse(shop_world: Shop) -> None:
    pencilled()
    page = text(staff_at().get(reverse("staff:today")))
    assert 'href="tel:+447700900111"' in page and "Ring 07700 900111" in page
    assert "Tue 4 Nov, 09:00" in page
    lapsed = text(staff_at(NOW + timedelta(days=2)).get(reverse("staff:today")))
    assert "No visit is waiting" in lapsed


def test_minutes_booked_against_minutes_open(shop_world: Shop) -> None:
    visit = confirmed()
    Closure.objects.create(day=date(2025, 11, 6), reason="stocktaking")
    days = selectors.room(first_day=date(2025, 11, 3), days=7, now=NOW)
    assert [day.open_minutes for day in days] == [1200, 1200, 1200, 0, 1200, 1080, 840], "two bays, fixtures' hours"
    assert [day.booked_minutes for day in days] == [0, visit.booked_minutes, 0, 0, 0, 0, 0]
    page = text(staff_at().get(reverse("staff:diary")))
    assert "closed: stocktaking" in page
    hours, minutes = divmod(visit.booked_minutes, 60)
    assert f"{hours} h {minutes:02} of 20 h booked" in page


def test_lapsed_and_called_off_visits_take_no_room(shop_world: Shop) -> None:
    pencilled()
    bookings.call_off(visit=confirmed(START + timedelta(hours=1)), now=NOW, reason="rain", **WHO)
    late = NOW + timedelta(minutes=shop_world.pencil_hold_minutes + 1)
    assert selectors.room(first_day=date(2025, 11, 4), days=1, now=late)[0].booked_minutes == 0


@pytest.mark.parametrize("asked", ["2025-11-04", "2025-11-09", "2025-11-03"])
def test_any_day_shows_its_week_from_monday(shop_world: Shop, asked: str) -> None:
    answer = staff_at().get(reverse("staff:diary"), {"from": asked})
    assert answer.status_code == 200
    assert "Week of 3 November 2025" in text(answer)


@pytest.mark.parametrize("asked", ["soon", "2025-13-01", "0001-01-01", "9999-12-31", "\x00", "2025-11-04T00:00"])
def test_a_day_that_is_none_is_said_and_the_present_week_shown(shop_world: Shop, asked: str) -> None:
    answer = staff_at().get(reverse("staff:diary"), {"from": asked})
    assert answer.status_code == 404
    assert "is not a day the diary knows" in text(answer)
    assert "Week of 3 November 2025" in text(answer)


def test_the_week_of_a_clock_change_is_whole(shop_world: Shop) -> None:
    """British clocks went back on Sunday 26 October 2025 (IANA tzdata); the shop opens at 09:30 by the wall clock."""
    days = selectors.room(first_day=date(2025, 10, 20), days=7, now=NOW)
    assert days[-1].open_minutes == 840
    assert len({day.day for day in days}) == 7
