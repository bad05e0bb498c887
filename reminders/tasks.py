"""What the beat and wake-ups start: read the clock, call one service."""

from __future__ import annotations

from celery import shared_task

from bookings.clock import moment
from reminders.services import planning, preparing, sending, ticks


@shared_task(name="reminders.sweep")
def sweep(now: str | None = None) -> None:
    """Hand over what is due."""
    sending.sweep(now=moment(now))


@shared_task(name="reminders.plan")
def plan(now: str | None = None) -> None:
    """Write down what time has made due."""
    planning.plan(now=moment(now))


@shared_task(name="reminders.prepare")
def prepare(now: str | None = None) -> None:
    """Write ahead what falls due in the next hours."""
    preparing.prepare(now=moment(now))


@shared_task(name="reminders.tick_sweep")
def tick_sweep(now: str | None = None) -> None:
    """The beat's sweep: once a period, however many beats tick."""
    if ticks.take("sweep", every=ticks.SWEEP_EVERY, now=moment(now)):
        sending.sweep(now=moment(now))


@shared_task(name="reminders.tick_plan")
def tick_plan(now: str | None = None) -> None:
    """The beat's plan: once a period, however many beats tick."""
    if ticks.take("plan", every=ticks.PLAN_EVERY, now=moment(now)):
        planning.plan(now=moment(now))


@shared_task(name="reminders.tick_prepare")
def tick_prepare(now: str | None = None) -> None:
    """The beat's writing ahead: once a period, however many beats tick."""
    if ticks.take("prepare", every=ticks.PREPARE_EVERY, now=moment(now)):
        preparing.prepare(now=moment(now))
