"""Rounds of the real worker at moments of the story: tasks go through the broker, and their end is waited for."""

from __future__ import annotations

import time
from datetime import datetime, timedelta

from django.db.models import Q

from config.celery import app
from reminders.models import Notice
from reminders.tasks import plan, sweep

PATIENCE_SECONDS = 120.0
# A task taken off the queue is listed as unacknowledged a moment later; in between it seems to be nowhere.
TWICE_QUIET_SECONDS = 0.004


class WorkerStuck(RuntimeError):
    """The worker did not finish in time."""


class Rounds:
    """Sends the worker to plan and to send, as the beat would have done at a moment of the story."""

    def __init__(self) -> None:
        self._connection = app.connection_for_write()
        self._redis = self._connection.default_channel.client

    def plan(self, now: datetime) -> None:
        """Let the worker write down what time has made due, then send what is due."""
        plan.delay(now=now.isoformat())
        self.wait()
        self.deliver(now)

    def deliver(self, now: datetime) -> None:
        """Return once nothing that was due at `now` is still waiting to be sent for the first time."""
        if not self._due(now):
            return
        self.wait()  # whatever caused it has poked the worker already
        if self._due(now):
            self.sweep(now)

    def sweep(self, now: datetime) -> None:
        """Let the worker send what is due."""
        sweep.delay(now=now.isoformat())
        self.wait()

    def wait(self) -> None:
        """Return once the worker has finished everything in the queue."""
        deadline = time.monotonic() + PATIENCE_SECONDS
        quiet = 0
        while quiet < 2:
            if time.monotonic() > deadline:
                waited = timedelta(seconds=PATIENCE_SECONDS)
                raise WorkerStuck(f"the worker has not finished after {waited}; see the log of the worker")
            quiet = 0 if self._busy() else quiet + 1
            time.sleep(TWICE_QUIET_SECONDS)

    def _busy(self) -> bool:
        queue = app.conf.task_default_queue
        return bool(self._redis.llen(queue) or self._redis.hlen("unacked"))

    @staticmethod
    def _due(now: datetime) -> bool:
        untried = Q(state=Notice.State.WAITING, due_at__lte=now, attempts=0)
        return Notice.objects.filter(untried | Q(state=Notice.State.SENDING)).exists()
