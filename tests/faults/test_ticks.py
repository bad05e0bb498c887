"""One schedule, however many beats tick, whatever their clocks do."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from bookings.models import Shop
from config.embedded import beat_part, worker_part
from config.supervision import Supervisor
from reminders.models import Tick
from reminders.services import ticks
from tests.parts.crowds import all_at_once
from tests.parts.stories import MORNING

pytestmark = pytest.mark.django_db(transaction=True)
EVERY = timedelta(seconds=30)


def test_a_turn_is_taken_once_a_period() -> None:
    seconds = [0, 10, 30, 40, 59.5, 70, 90]  # two clocks, ten seconds apart, the first not quite even
    taken = [at for at in seconds if ticks.take("work", every=EVERY, now=MORNING + timedelta(seconds=at))]
    assert taken == [0, 30, 59.5, 90]


def test_turns_of_different_work_are_apart() -> None:
    assert ticks.take("work", every=EVERY, now=MORNING)
    assert ticks.take("other work", every=EVERY, now=MORNING)


@pytest.mark.parametrize("jump", [timedelta(hours=1), timedelta(days=400), timedelta(seconds=31)])
def test_a_clock_that_was_ahead_holds_nothing_up(jump: timedelta) -> None:
    assert ticks.take("work", every=EVERY, now=MORNING + jump)
    assert ticks.take("work", every=EVERY, now=MORNING)
    assert not ticks.take("work", every=EVERY, now=MORNING)


def test_of_many_that_try_at_once_one_has_the_turn() -> None:
    ticks.take("work", every=EVERY, now=MORNING)
    now = MORNING + EVERY
    won = all_at_once([partial(ticks.take, "work", every=EVERY, now=now)] * 6)
    assert sorted(won) == [False] * 5 + [True]


def test_two_beats_make_one_schedule(shop_world: Shop, process_environment: dict[str, str], tmp_path: Path) -> None:
    haste = 30
    environment = process_environment | {"RIMEBOOK_HASTE": str(haste)}
    period = EVERY.total_seconds() / haste
    with Supervisor(tmp_path / "log") as supervisor:
        supervisor.start(worker_part(environment, "worker", 1))
        for name in ("beat-one", "beat-two"):
            supervisor.start(replace(beat_part(environment, tmp_path / name), name=name))
        began = time.monotonic()
        deadline = began + 30
        while not Tick.objects.filter(name="sweep", turns__gte=1).exists():
            assert time.monotonic() < deadline, "no turn was ever taken"
            time.sleep(0.1)
        first, began = Tick.objects.get(name="sweep").turns, time.monotonic()
        time.sleep(8 * period)
        turns = Tick.objects.get(name="sweep").turns - first
        elapsed = time.monotonic() - began
        sent = sum(
            supervisor.log_of(name).read_text().count("reminders.tick_sweep") for name in ("beat-one", "beat-two")
        )
    assert 2 <= turns <= elapsed / (period * (1 - ticks.SLACK)) + 1
    assert sent > turns, "both beats were ticking"
