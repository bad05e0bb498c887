"""What the beat and wake-ups start: read the clock, call one service."""

from __future__ import annotations

from celery import shared_task

from bookings.clock import moment
from reminders.services import planning, sending


@shared_task(name="reminders.sweep")
def sweep(now: str | None = None) -> None:
    """Hand over what is due."""
    sending.sweep(now=moment(now))


@shared_task(name="reminders.plan")
def plan(now: str | None = None) -> None:
    """Write down what time has made due."""
    planning.plan(now=moment(now))
