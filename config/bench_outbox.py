"""Ten thousand notices due at one moment: two workers of ours beside a bare smtplib loop over as many connections.

The words are written beforehand, as in a shop whose riders are all reminded at four in the afternoon; the bare loop is
given the same finished bytes. Ours takes from the poke until the database says that every notice has been handed over:
broker, claims, checks, bytes, records. Both sides talk to the same sink, a process of its own.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection

from config.bench_pair import Pair

NOTICES = int(os.environ.get("RIMEBOOK_BENCH_NOTICES", "10000"))
WORKERS = 2
ROUNDS = 3
NOW = datetime(2026, 10, 5, 14, 30, tzinfo=UTC)
DUE = datetime(2026, 10, 5, 15, 0, tzinfo=UTC)
PATIENCE_SECONDS = 600


class Outbox:
    """The installation with its notices, and both ways to empty it."""

    def __init__(self, held: ExitStack) -> None:
        from config.study.installation import installation

        module = str(settings.SETTINGS_MODULE)
        self.place = held.enter_context(installation(module, EMAIL_TIMEOUT="60", SERVICE_MAIL_A_MINUTE="0"))
        self._fill()
        for number in range(WORKERS):
            self.place.start_worker(f"worker{number}")
        self._prepare()
        self.parcels = self._parcels()
        self._loops: list[subprocess.Popen[bytes]] = []

    def _fill(self) -> None:
        from config.study import riders
        from reminders.models import Notice

        visits = riders.book(NOTICES, NOW)
        riders.owe_all(visits, Notice.Kind.DAY_BEFORE, DUE, NOW)

    def _prepare(self) -> None:
        """By the product's own pass, in a worker."""
        from reminders.models import Packed

        began = time.monotonic()
        while (there := Packed.objects.count()) < NOTICES:
            if time.monotonic() - began > PATIENCE_SECONDS:
                raise RuntimeError(f"only {there} of {NOTICES} notices were written ahead")
            self.place.wake("reminders.prepare", NOW.isoformat())
            time.sleep(2)

    def _parcels(self) -> list[Path]:
        """What the bare loop is given: one file of addresses and bytes to a connection."""
        from reminders.models import Packed

        rows = list(Packed.objects.order_by("pk").values_list("notice__recipient", "content"))
        paths = []
        for number in range(WORKERS):
            path = self.place.home / f"parcels{number}"
            path.write_text(json.dumps([[to, bytes(content).decode("ascii")] for to, content in rows[number::WORKERS]]))
            paths.append(path)
        return paths

    def reset(self) -> None:
        """The sink has forgotten and every notice is due again; not timed.

        In this order, because a sweep that is still on its way from the round before may begin at once.
        """
        from reminders.models import Attempt, Notice

        self.place.sink.tell(forget=True)
        Attempt.objects.all()._raw_delete("default")
        fresh = {"lease_token": None, "lease_until": None, "handed_over_at": None, "settled_at": None, "attempts": 0}
        Notice.objects.update(state=Notice.State.WAITING, outcome="", **fresh)
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "PRAGMA wal_checkpoint(TRUNCATE)")

    def ours(self) -> str:
        """One poke; done when everything is recorded."""
        from reminders.models import Notice

        self.place.wake("reminders.sweep", DUE.isoformat())
        self._wait_for_sink()
        while Notice.objects.exclude(state=Notice.State.SENT).exists():
            time.sleep(0.01)
        return self._received()

    def start_loops(self) -> None:
        """As many processes as there are workers, each with its connection open and its bytes in memory.

        The notices stay as they are, handed over: were they due, a late sweep would send them into the plain round.
        """
        self.place.sink.tell(forget=True)
        command = [sys.executable, "-m", "config.study.bare_loop", str(self.place.port), settings.MAIL_FROM]
        for path in self.parcels:
            loop = subprocess.Popen(
                [*command, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=settings.BASE_DIR
            )
            self._loops.append(loop)
        for loop in self._loops:
            _heard(loop, b"ready")

    def plain(self) -> str:
        """The bare loops, from the word to go until each has had its last answer."""
        for loop in self._loops:
            assert loop.stdin is not None
            loop.stdin.write(b"go\n")
            loop.stdin.flush()
        while self._loops:
            loop = self._loops.pop()
            _heard(loop, b"done")
            loop.communicate()
        return self._received()

    def _wait_for_sink(self) -> None:
        began = time.monotonic()
        while self.place.sink.tell()["count"] < NOTICES:
            if time.monotonic() - began > PATIENCE_SECONDS:
                raise RuntimeError("the notices did not all arrive in time")
            time.sleep(0.02)

    def _received(self) -> str:
        answer = self.place.sink.tell()
        return f"{answer['count']} messages {answer['sum']}"


def _heard(loop: subprocess.Popen[bytes], word: bytes) -> None:
    assert loop.stdout is not None
    if loop.stdout.readline().strip() != word:
        raise RuntimeError("the bare loop came to grief")


def beside_smtplib() -> Pair:
    """Handing over all that is due, beside sending it with nothing kept."""
    with ExitStack() as building:
        outbox = Outbox(building)
        held = building.pop_all()
    return Pair(
        f"{NOTICES:,} notices due at one moment, {WORKERS} workers, {connection.vendor}: claimed, sent, recorded",
        f"smtplib.sendmail of the same bytes over {WORKERS} connections, nothing kept",
        outbox.ours,
        outbox.plain,
        rounds=ROUNDS,
        before_ours=outbox.reset,
        before_plain=outbox.start_loops,
        close=held.close,
    )
