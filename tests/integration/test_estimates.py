"""Numbers and weather that change: every live schedule follows, once, and can be derived again from what it keeps."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from bookings.models import Shop
from bookings.rules.errors import InputErrors
from bookings.rules.types import RoadSalt
from reminders import selectors
from reminders.models import CoatDue, ParameterChange, Schedule, WeatherDay
from reminders.protection.documents import read_request
from reminders.protection.due import forecast
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Observation
from reminders.services import estimates, planning, schedules
from tests.parts.stories import COMMUTER, collected

pytestmark = pytest.mark.django_db
LAST_YEAR = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
LATER = datetime(2026, 2, 2, 9, 0, tzinfo=UTC)
LIFE = "coat.clear_film.nominal_life_days"
# Where no road is salted, mild weather takes no salt away and wears by its damp alone.
UNSALTED = replace(COMMUTER, road_salt=RoadSalt.NONE)


def scheduled(now: datetime = LAST_YEAR, **facts: object) -> Schedule:
    visit, moment = collected(now, **facts)
    planning.plan(now=moment)
    return Schedule.objects.get(visit=visit)


def another(number: int, now: datetime = LAST_YEAR) -> Schedule:
    facts = {"name": f"Rider {number}", "email": f"rider{number}@example.org", "phone": f"+4477009002{number:02d}"}
    return scheduled(now + timedelta(days=number), **facts)


def due(schedule: Schedule) -> dict[int, tuple[date | None, ...]]:
    rows = CoatDue.objects.filter(schedule=schedule)
    return {row.coat_id: (row.due_early, row.due_likely, row.due_late, row.act_by) for row in rows}


def change(
    value: float = 260.0, key: str = LIFE, why: str = "lasts longer here", now: datetime = LATER
) -> ParameterChange:
    return estimates.set_parameter(key=key, value=value, why=why, by="Morgan", now=now)


def weather(first: date, days: int, celsius: float, humidity: float) -> list[Observation]:
    return [Observation(first + timedelta(days=day), celsius, celsius - 3, humidity) for day in range(days)]


# What is stored is enough


def test_stored_schedules_are_derived_again_from_what_they_keep_alone(shop_world: Shop) -> None:
    scheduled()
    change(210.0)
    estimates.write_weather(days=weather(date(2025, 12, 1), 40, 14.0, 95.0), source="own", now=LATER)
    another(1, LATER)
    planning.plan(now=LATER + timedelta(days=2))
    kept = [
        (json.loads(json.dumps(row.inputs)), json.loads(json.dumps(row.parameters)), due(row), row)
        for row in Schedule.objects.all()
    ]
    assert len(kept) == 2
    # Whatever the shop says afterwards has no part in it.
    ParameterChange.objects.create(key="coat.heavy_film.nominal_life_days", value=1.0, since=LATER, by="x", why="x")
    WeatherDay.objects.all().delete()
    for inputs, parameters, dates, row in kept:
        asked = read_request(inputs)
        assert set(parameters) == set(DEFAULTS) and parameters[LIFE] == 210.0
        again = forecast(asked.site, asked.use, asked.coats, asked.as_of, DEFAULTS.with_values(parameters))
        found = {
            coat.pk: (estimate.due_early, estimate.due_likely, estimate.due_late, estimate.act_by)
            for coat, estimate in zip(selectors.coats_of(row.visit), again.coats, strict=True)
        }
        assert found == dates and again.model_version == row.model_version
        assert selectors.derived(row)[1].coats == again.coats
    assert len(kept[0][0]["observed"]["on"]) == 40


def test_a_stored_number_that_fits_no_longer_does_not_break_the_page(shop_world: Shop) -> None:
    schedule = scheduled()
    schedule.parameters |= {LIFE: -5.0, "coat.tar.life_km": 3.0}
    asked, answer, parameters = selectors.derived(schedule)
    assert len(answer.coats) == len(asked.coats) and parameters[LIFE] == DEFAULTS[LIFE]


# Schedules follow


def test_a_changed_number_renews_every_live_schedule_once(shop_world: Shop) -> None:
    first, second = scheduled(), another(1)
    before = due(first), due(second)
    assert schedules.renew_outdated(now=LATER) == 0
    change()
    assert planning.plan(now=LATER).schedules == 2
    assert planning.plan(now=LATER).schedules == 0
    after = due(first), due(second)
    assert all(was != now for was, now in zip(before, after, strict=True))
    first.refresh_from_db()
    assert first.as_of == date(2026, 2, 2) and first.computed_at == LATER
    estimates.set_back(key=LIFE, why="no, it does not", by="Morgan", now=LATER)
    assert schedules.renew_outdated(now=LATER) == 2
    assert selectors.parameters_in_force() == DEFAULTS


def test_a_run_renews_so_many_and_the_next_the_rest(shop_world: Shop) -> None:
    scheduled()
    another(1)
    another(2)
    change()
    assert [schedules.renew_outdated(now=LATER, most=2) for _ in range(3)] == [2, 1, 0]


def test_another_release_of_the_model_renews_too(shop_world: Shop) -> None:
    schedule = scheduled()
    Schedule.objects.update(basis="as an older release left it")
    assert schedules.renew_outdated(now=LATER) == 1
    schedule.refresh_from_db()
    assert schedule.basis == selectors.knowledge().basis


def test_a_schedule_whose_coats_are_all_covered_anew_is_left_as_it_was(shop_world: Shop) -> None:
    old = scheduled()
    visit, moment = collected(LATER, bike=old.bike)
    planning.plan(now=moment)
    change(now=moment)
    assert schedules.renew_outdated(now=moment) == 1
    assert Schedule.objects.get(visit=visit).computed_at == moment
    old.refresh_from_db()
    assert old.parameters[LIFE] == DEFAULTS[LIFE]


def test_a_schedule_that_is_refused_keeps_its_answer_says_why_and_holds_up_nobody(shop_world: Shop) -> None:
    wrong = scheduled()
    another(1)
    before = due(wrong)
    wrong.bike.km_per_year = 400_000
    wrong.bike.save()
    change()
    assert schedules.renew_outdated(now=LATER, most=1) == 0  # the refused one stands first
    assert schedules.renew_outdated(now=LATER, most=1) == 1
    assert schedules.renew_outdated(now=LATER, most=1) == 0
    wrong.refresh_from_db()
    assert "km_per_year" in wrong.refusal and due(wrong) == before
    assert list(selectors.live_schedules().exclude(refusal="")) == [wrong]


def test_measured_days_replace_the_usual_month_and_wetter_air_wears_faster(shop_world: Shop) -> None:
    soon = datetime(2025, 12, 8, 9, 0, tzinfo=UTC)
    schedule = scheduled(bike=UNSALTED)
    fresh = {row.coat_id: row.protection_left for row in schedule.coats.all()}
    assert "observed" not in schedule.inputs
    days = weather(date(2025, 11, 5), 30, 10.0, 100.0)
    assert estimates.write_weather(days=days, source="own", now=soon) == 30
    assert schedules.renew_outdated(now=soon) == 1
    wet = {row.coat_id: row.protection_left for row in Schedule.objects.get().coats.all()}
    assert estimates.forget_weather(first=date(2025, 11, 5), last=soon.date()) == 30
    assert schedules.renew_outdated(now=soon) == 1
    usual = {row.coat_id: row.protection_left for row in Schedule.objects.get().coats.all()}
    assert all(0 < wet[coat] < usual[coat] < fresh[coat] for coat in usual), (wet, usual, fresh)


def test_the_same_days_again_renew_nothing(shop_world: Shop) -> None:
    scheduled()
    days = weather(date(2025, 12, 1), 10, 2.0, 90.0)
    assert estimates.write_weather(days=days, source="own", now=LATER) == 10
    assert schedules.renew_outdated(now=LATER) == 1
    assert estimates.write_weather(days=days, source="own", now=LATER + timedelta(days=1)) == 0
    assert schedules.renew_outdated(now=LATER) == 0
    assert estimates.write_weather(days=[*days[:9], *weather(date(2025, 12, 10), 2, 3.0, 90.0)], source="b", now=LATER)
    assert WeatherDay.objects.count() == 11 and WeatherDay.objects.get(day="2025-12-10").temperature_c == 3.0


def test_another_salt_season_of_the_shop_renews_every_live_schedule_once(shop_world: Shop) -> None:
    first, second = scheduled(), another(1)
    frost = first.salt_from, first.salt_to
    assert "salt_season" not in first.inputs
    for days, season in (
        (("12-15", "02-10"), (date(2025, 12, 15), date(2026, 2, 10))),
        (("01-20", "02-20"), (date(2026, 1, 20), date(2026, 2, 20))),
    ):
        shop_world.salt_season_from, shop_world.salt_season_to = days
        shop_world.save()
        assert [planning.plan(now=LATER).schedules for _ in range(2)] == [2, 0]
        for schedule in (first, second):
            schedule.refresh_from_db()
            assert schedule.inputs["salt_season"] == {"from": days[0], "to": days[1]}
            assert (schedule.salt_from, schedule.salt_to) == season != frost
    shop_world.salt_season_from = shop_world.salt_season_to = ""
    shop_world.save()
    assert schedules.renew_outdated(now=LATER) == 2
    first.refresh_from_db()
    assert "salt_season" not in first.inputs and (first.salt_from, first.salt_to) == frost


def test_weather_long_before_a_coat_is_not_kept_with_its_schedule(shop_world: Shop) -> None:
    estimates.write_weather(days=weather(date(2020, 1, 1), 2300, 8.0, 80.0), source="own", now=LATER)
    kept = scheduled().inputs["observed"]["on"]
    assert kept[0] >= "2024-08-01" and len(kept) == len(set(kept)) < 800


# History


def test_changes_of_numbers_are_never_altered(shop_world: Shop) -> None:
    made = change()
    made.value = 1.0
    with pytest.raises(TypeError):
        made.save()
    with pytest.raises(TypeError):
        made.delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        ParameterChange.objects.create(key=LIFE, value=1.0, since=LATER, by="x", why="")
    assert selectors.parameters_in_force()[LIFE] == 260.0


@pytest.mark.parametrize(
    ("key", "value", "why", "field"),
    [
        ("coat.tar.life_km", 5.0, "x", "key"),
        (LIFE, 0.5, "x", "value"),
        (LIFE, float("nan"), "x", "value"),
        (LIFE, 130.0, "x", "value"),
        (LIFE, 140.0, " ", "why"),
    ],
)
def test_what_a_number_may_not_be(shop_world: Shop, key: str, value: float, why: str, field: str) -> None:
    with pytest.raises(InputErrors) as refused:
        change(value, key, why)
    assert [error.field for error in refused.value.errors] == [field]
    assert not ParameterChange.objects.exists()
