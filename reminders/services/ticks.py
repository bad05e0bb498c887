"""Turns of repeating work: one in each period, however many clocks tick."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import F, Q

from reminders.models import Tick

SWEEP_EVERY = timedelta(seconds=30) / settings.HASTE
PLAN_EVERY = timedelta(seconds=60) / settings.HASTE
PREPARE_EVERY = timedelta(seconds=60) / settings.HASTE
# A clock that ticks every period is never quite even; without this it would lose every other turn.
SLACK = 0.2


def take(name: str, *, every: timedelta, now: datetime) -> bool:
    """Take the turn of `name` that is due at `now`; False when another clock has had it.

    A next turn further away than a period was set by a clock that ran ahead, and holds nobody up.
    """
    Tick.objects.get_or_create(name=name, defaults={"next_at": now})
    is_due = Q(next_at__lte=now) | Q(next_at__gt=now + every)
    turn = Tick.objects.filter(is_due, name=name)
    return bool(turn.update(next_at=now + every * (1 - SLACK), turns=F("turns") + 1))
