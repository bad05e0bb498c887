"""The outbox under fire: workers, beats and the broker killed at random, a mail server with every fault of its own.

What must hold: each service notice arrives; it arrives twice only where nobody could know that it had arrived, never
three times, and then with the same bytes and Message-ID; a recall notice never arrives twice, and one that has not
arrived waits for staff; a dead address is told from a bad moment.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import redis

from bookings.models import Shop
from config.study import riders
from config.study.findings import Findings, judge
from config.study.installation import Installation, installation
from reminders.models import Notice

WORKERS = ("worker0", "worker1")
BEATS = ("beat0", "beat1")
MISCHIEFS: tuple[dict[str, float], ...] = (
    {},
    {"later": 0.3, "late": 0.2},
    {"closing": 0.2},
    {"nobody": 0.2},
    {"lose": 0.2},
    {"drop": 0.2},
    {"hang": 0.1},
    {"mute": 0.1},
)
SLOW_SECONDS = 0.12
PATIENCE_SECONDS = 900.0
# One broker fault to so many kills, and a new mischief to so many.
BROKER_EVERY, MISCHIEF_EVERY = 10, 3


@dataclass(frozen=True)
class Plan:
    """How hard the ordeal is. `haste` divides every wait of the product; `interval` is the mean time between kills."""

    notices: int = 2000
    recalls: int = 200
    dead: int = 40
    kills: int = 200
    seed: int = 1
    haste: int = 20
    interval_seconds: float = 2.0


Tell = Callable[[int, str], None]


def run(plan: Plan, now: datetime, tell: Tell) -> Findings:
    """Play the ordeal; `tell` hears how many kills are done and what just happened."""
    extra = {"RIMEBOOK_HASTE": str(plan.haste), "RECALL_MAIL_A_MINUTE": "0", "LOG_LEVEL": "ERROR"}
    with installation("config.settings.test", **extra) as place:
        ordeal = _Ordeal(place, plan, tell)
        ordeal.owe(now)
        began = time.monotonic()
        ordeal.start()
        ordeal.storm()
        ordeal.calm()
        return judge(plan.seed, place.sink.tell(list=True), ordeal.done, time.monotonic() - began)


class _Ordeal:
    def __init__(self, place: Installation, plan: Plan, tell: Tell) -> None:
        self.place, self.plan, self.tell = place, plan, tell
        self.chance = Random(plan.seed)
        self.done: dict[str, int] = {}

    def owe(self, now: datetime) -> None:
        """Everything that will fall due during the storm, in small waves; half of it can be written ahead."""
        plan = self.plan
        total = plan.notices + plan.recalls + plan.dead
        visits = riders.book(total, now, dead=plan.dead)
        Shop.objects.update(quiet_from="00:00", quiet_until="00:00", most_notices_a_day=1000)
        service = visits[: plan.notices] + visits[plan.notices + plan.recalls :]
        riders.owe_all(service[::2], Notice.Kind.DAY_BEFORE, now, now)
        riders.owe_all(service[1::2], Notice.Kind.CONFIRMED, now, now)
        recalled = visits[plan.notices : plan.notices + plan.recalls]
        riders.owe_recalls(recalled, now)
        keys = list(Notice.objects.values_list("pk", flat=True))
        self.chance.shuffle(keys)
        waves = max(1, plan.kills)
        first = timedelta(seconds=15)
        for wave in range(waves):
            Notice.objects.filter(pk__in=keys[wave::waves]).update(
                due_at=now + first + wave * timedelta(seconds=plan.interval_seconds)
            )

    def start(self) -> None:
        """Two workers, two beats, a server that is slow to answer."""
        self.place.sink.tell(seed=self.plan.seed, slow_seconds=SLOW_SECONDS, hang_seconds=60.0 / self.plan.haste + 2)
        for name in WORKERS:
            self.place.start_worker(name)
        for name in BEATS:
            self.place.start_beat(name)

    def storm(self) -> None:
        """Kill, and kill again."""
        for number in range(1, self.plan.kills + 1):
            time.sleep(self.chance.uniform(0.2, 2 * self.plan.interval_seconds - 0.2))
            if number % MISCHIEF_EVERY == 0:
                self.place.sink.tell(mischief=self.chance.choice(MISCHIEFS))
            if number % BROKER_EVERY == 0:
                self._hit_broker()
            self.tell(number, self._kill())

    def calm(self) -> None:
        """No more faults; wait until every notice has come to its end."""
        self.place.sink.tell(mischief={}, slow_seconds=0.0)
        deadline = time.monotonic() + PATIENCE_SECONDS
        open_states = (Notice.State.WAITING, Notice.State.SENDING)
        while (left := Notice.objects.filter(state__in=open_states).count()) and time.monotonic() < deadline:
            self.tell(self.plan.kills, f"calm; {left} notices still on their way")
            time.sleep(1)

    def _kill(self) -> str:
        """One kill -9: of a worker with all its processes, of the process at work alone, of its parent, of a beat."""
        name = self.chance.choice((*WORKERS, *WORKERS, *BEATS))
        how = self.chance.choice(("group", "group", "child", "parent")) if name in WORKERS else "group"
        leader = self.place.supervisor.process_of(name).pid
        if how == "child":
            for child in _children(leader):
                with suppress(ProcessLookupError):
                    os.kill(child, signal.SIGKILL)
                    self._count("kills of a worker's child")
                    return f"{name}: its child"
        if how == "parent":
            os.kill(leader, signal.SIGKILL)
            time.sleep(0.3)  # the orphan works on, if it can
        with suppress(ProcessLookupError):
            os.killpg(leader, signal.SIGKILL)
        self.place.supervisor.stop(name)
        if name in WORKERS:
            self.place.start_worker(name, waits=False)
        else:
            self.place.start_beat(name)
        self._count("kills of a beat" if name in BEATS else f"kills of a worker ({how})")
        return f"{name}: {how}"

    def _hit_broker(self) -> None:
        if self.chance.random() < 0.5:
            with redis.Redis(unix_socket_path=str(self.place.broker_socket)) as client:
                client.flushall()
            self._count("broker flushed")
            return
        os.killpg(self.place.supervisor.process_of("broker").pid, signal.SIGKILL)
        self.place.supervisor.stop("broker")
        self.place.start_broker()
        self._count("broker killed and restarted")

    def _count(self, what: str) -> None:
        self.done[what] = self.done.get(what, 0) + 1


def _children(leader: int) -> list[int]:
    """Processes whose parent is `leader` (proc(5): the fourth field of stat)."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            if int(path.read_bytes().rpartition(b")")[2].split()[1]) == leader:
                found.append(int(path.parent.name))
    return found
