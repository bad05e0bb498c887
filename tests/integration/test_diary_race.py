"""Several processes book the same days at once. Overlaps are looked for in the raw rows, not by the code under test."""

from __future__ import annotations

import itertools
import json
import os
import subprocess
import sys
import textwrap
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection

from bookings import selectors
from bookings.models import Bay, Bike, Rider, Shop, Tier
from config.demo.shop import open_shop
from config.study.installation import database_url

NOW = datetime(2025, 11, 3, 9, 0, tzinfo=UTC)
PROCESSES = 4

# Each process books in its own connection, and tells what became of each attempt.
CALLER = textwrap.dedent(
    """
    import json, random, sys, uuid
    from datetime import datetime, timedelta
    import django
    django.setup()
    from bookings.models import Bike, BookingRequest, Tier
    from bookings.rules.types import Condition
    from bookings.services import bookings, diary, requests
    order = json.loads(sys.stdin.readline())
    chance, now, outcome = random.Random(order["seed"]), datetime.fromisoformat(order["now"]), []
    bike, tier = Bike.objects.get(), Tier.objects.get(code=order["tier"])
    print("waiting", flush=True)
    sys.stdin.readline()
    for attempt, start in enumerate(order["starts"]):
        asked = requests.receive(submission_key=uuid.UUID(int=chance.getrandbits(128)), source="phone", bike=bike,
                                 tier=tier, condition=Condition.DIRTY, now=now)
        try:
            visit = bookings.pencil(request=asked, start=datetime.fromisoformat(start), now=now, actor="race",
                                    hold_minutes=0 if chance.random() < order["lapsing"] else 60)
            if chance.random() < order["moving"]:
                bookings.move(visit=visit, start=visit.starts_at + timedelta(hours=chance.randint(-2, 2)), now=now,
                              actor="race", reason="")
            if chance.random() < 0.5:
                bookings.confirm(visit=visit, now=now, actor="race")
            outcome.append("booked")
        except diary.SlotTaken:
            outcome.append("taken")
        except diary.HoldLapsed:
            outcome.append("lapsed")
    print(json.dumps(outcome), flush=True)
    """
)


@pytest.fixture
def one_bike(transactional_db: None) -> Shop:
    shop = open_shop()
    rider = Rider.objects.create(name="Everybody", email="all@example.com", created_at=NOW)
    Bike.objects.create(rider=rider, description="the one bike", created_at=NOW)
    return shop


def race(orders: list[dict[str, Any]]) -> Counter[str]:
    """Let one process run per order, all off the line together; what became of all attempts."""
    environment = {**os.environ, "DATABASE_URL": database_url(), "DJANGO_SETTINGS_MODULE": "config.settings.test"}
    callers = [
        subprocess.Popen(
            [sys.executable, "-c", CALLER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(settings.BASE_DIR),
            env=environment,
        )
        for _ in orders
    ]
    outcomes: Counter[str] = Counter()
    for caller, order in zip(callers, orders, strict=True):
        assert caller.stdin
        caller.stdin.write(json.dumps(order) + "\n")
        caller.stdin.flush()
    for caller in callers:
        assert caller.stdout
        assert caller.stdout.readline() == "waiting\n"
    for caller in callers:
        assert caller.stdin
        caller.stdin.write("go\n")
        caller.stdin.flush()
    for caller in callers:
        told, _ = caller.communicate(timeout=60)
        assert caller.returncode == 0
        outcomes.update(json.loads(told))
    return outcomes


def rows(statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall()


def firm_intervals() -> dict[int, list[tuple[datetime, datetime]]]:
    """Work of every visit that still holds its time, per bay, straight from the visit's own row."""
    found: dict[int, list[tuple[datetime, datetime]]] = {bay.pk: [] for bay in Bay.objects.all()}
    for bay, starts_at, minutes, state, until in rows(
        "SELECT bay_id, starts_at, booked_minutes, state, pencilled_until FROM bookings_visit ORDER BY starts_at"
    ):
        start, held_until = aware(starts_at), until and aware(until)
        if state == "confirmed" or (state == "pencilled" and held_until > NOW):
            found[bay].append((start, start + timedelta(minutes=minutes)))
    return found


def aware(value: datetime) -> datetime:
    """SQLite gives raw times without their zone, which is UTC."""
    return value if value.tzinfo else value.replace(tzinfo=UTC)


def assert_no_overlap() -> int:
    """No two living visits share a bay and a minute; gives how many there are."""
    intervals = firm_intervals()
    for visits in intervals.values():
        for (_, end), (start, _) in itertools.pairwise(visits):
            assert end <= start, "two visits in one bay at one time"
    return sum(map(len, intervals.values()))


def assert_claims_are_the_visits() -> None:
    """Every living visit holds exactly its own quarters, and nothing is held for anybody else."""
    expected = {
        (bay, int(start.timestamp()) // 900 + n)
        for bay, visits in firm_intervals().items()
        for start, end in visits
        for n in range(int((end - start).total_seconds()) // 900)
    }
    living = {
        (bay, quarter)
        for bay, quarter, until in rows("SELECT bay_id, quarter, expires_at FROM bookings_claim")
        if until is None or aware(until) > NOW
    }
    assert living == expected


def test_a_fortnight_booked_by_several_at_once_has_no_overlap(one_bike: Shop) -> None:
    days = [NOW.replace(hour=8) + timedelta(days=1 + n % 4, minutes=15 * (7 * n % 29)) for n in range(40)]
    orders = [
        {
            "seed": seed,
            "now": NOW.isoformat(),
            "tier": "season-guard",
            "starts": [day.isoformat() for day in days[seed * 5 :] + days[: seed * 5]],
            "lapsing": 0.2,
            "moving": 0.3,
        }
        for seed in range(PROCESSES)
    ]
    outcomes = race(orders)
    assert outcomes.total() == PROCESSES * len(days), "every attempt was answered"
    assert outcomes["taken"] > 0, "the race was too easy to tell anything"
    assert assert_no_overlap() > 0
    assert_claims_are_the_visits()


def test_all_at_the_same_time_on_the_same_day_fills_each_bay_once(one_bike: Shop) -> None:
    """The hottest case: everybody wants nine o'clock, day after day; each loser is told so."""
    days = 8
    starts = [(NOW + timedelta(days=1 + n)).replace(hour=10).isoformat() for n in range(days)]
    order = {"now": NOW.isoformat(), "tier": "full-treatment", "starts": starts, "lapsing": 0.0, "moving": 0.0}
    outcomes = race([order | {"seed": seed} for seed in range(PROCESSES)])
    wanted = days * len(selectors.bays())
    assert outcomes == {"booked": wanted, "taken": PROCESSES * days - wanted}
    assert assert_no_overlap() == wanted
    assert_claims_are_the_visits()


def test_the_search_for_overlaps_can_see_one(one_bike: Shop) -> None:
    """Two visits written past the services, without claims, must be found: else the tests above are blind."""
    assert Tier.objects.exists()
    order = {"now": NOW.isoformat(), "tier": "season-guard", "lapsing": 0.0, "moving": 0.0, "seed": 1}
    race([order | {"starts": [(NOW + timedelta(days=1)).isoformat(), (NOW + timedelta(days=2)).isoformat()]}])
    assert assert_no_overlap() == 2
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE bookings_visit SET starts_at = (SELECT MIN(starts_at) FROM bookings_visit), state = 'confirmed'"
        )
    with pytest.raises(AssertionError, match="two visits in one bay"):
        assert_no_overlap()
