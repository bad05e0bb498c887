"""Rider and workshop tell of bikes at the same moment, while the plan makes schedules, on the real engine."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import pytest

from bookings.models import Bike
from bookings.rules.types import Zone
from bookings.services.requests import BikeFacts
from config.demo.shop import open_shop
from reminders import selectors
from reminders.models import OdometerReading, Schedule, Told, Tour, Wash, ZoneFinding
from reminders.services import inspection, planning, readings
from reminders.services.inspection import ZoneFound
from reminders.services.telling import Teller
from tests.parts.crowds import all_at_once
from tests.parts.stories import collected

pytestmark = pytest.mark.django_db(transaction=True)
AUTUMN = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
SPRING = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
RIDER, STAFF = Teller(Told.Teller.RIDER, "Ines"), Teller(Told.Teller.STAFF, "Morgan")


def treated(number: int) -> Bike:
    facts = BikeFacts(description=f"Twin {number}", registration=f"TE{number}", km_per_year=12_000)
    phone, email = f"+44770090012{number}", f"rider{number}@example.org"
    visit, moment = collected(AUTUMN + timedelta(days=7 * number), name="Ines", email=email, phone=phone, bike=facts)
    planning.plan(now=moment)
    return visit.bike


def test_what_is_told_at_once_is_kept_once_and_every_schedule_knows_it_all() -> None:
    open_shop()
    bikes = [treated(1), treated(2)]
    presses: list[Callable[[], Any]] = [partial(planning.plan, now=SPRING), partial(planning.plan, now=SPRING)]
    for bike in bikes:
        told: dict[str, Any] = {"bike": bike, "now": SPRING}
        presses += [partial(readings.note_wash, on=date(2026, 1, 5), teller=who, **told) for who in (RIDER, STAFF)]
        presses += [
            partial(readings.note_odometer, on=date(2026, 1, 5), km=22_000, teller=who, **told)
            for who in (RIDER, STAFF)
        ]
        days: dict[str, Any] = {"first_day": date(2025, 12, 1), "last_day": date(2025, 12, 20)}
        presses.append(partial(readings.note_tour, km=3000, salted=True, teller=RIDER, **days, **told))
        found = [ZoneFound(Zone.FASTENERS, rating=10, film_left=0.1)]
        presses.append(partial(inspection.note_findings, on=SPRING.date(), found=found, teller=STAFF, **told))
    all_at_once(presses)
    assert [kind.objects.count() for kind in (Wash, OdometerReading, Tour, ZoneFinding)] == [2, 2, 2, 2]
    planning.plan(now=SPRING)
    assert planning.plan(now=SPRING).schedules == 0
    known = selectors.knowledge()
    schedules = list(Schedule.objects.all())
    assert len(schedules) == 2 and {schedule.basis for schedule in schedules} == {known.basis}
    for schedule in schedules:
        assert schedule.inputs == selectors.forecast_input(schedule.visit, SPRING.date(), known.learnt)
        assert schedule.inputs["washed_on"] == ["2026-01-05"] and len(schedule.inputs["tours"]) == 1
