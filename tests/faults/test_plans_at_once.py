"""Two beats, four workers: however many plan at once, each thing is owed once."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial

import pytest

from bookings.models import Shop
from reminders.models import Notice, Recall, Schedule
from reminders.services import planning
from tests.parts.crowds import all_at_once
from tests.parts.stories import collected

pytestmark = pytest.mark.django_db(transaction=True)


def plan_at_once(now: datetime, times: int = 4) -> None:
    all_at_once([partial(planning.plan, now=now)] * times)


def test_four_plans_at_once_owe_each_thing_once(shop_world: Shop) -> None:
    for number in range(3):
        _, moment = collected(
            datetime(2025, 11, 3, 9, 0, tzinfo=UTC),
            name=f"Rider {number}",
            email=f"rider{number}@example.org",
            phone=f"+44770090030{number}",
        )
    plan_at_once(moment)
    assert Schedule.objects.count() == 3
    assert Notice.objects.filter(kind=Notice.Kind.CARE_SHEET).count() == 3
    plan_at_once(datetime(2026, 10, 5, 9, 0, tzinfo=UTC))
    planning.plan(now=datetime(2026, 10, 5, 9, 1, tzinfo=UTC))
    assert Recall.objects.count() == 3
    assert Notice.objects.filter(kind=Notice.Kind.RECALL).count() == 3
    starts = [recall.visit.starts_at for recall in Recall.objects.all() if recall.visit]
    assert len(starts) == 3
