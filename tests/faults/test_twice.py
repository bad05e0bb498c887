"""Every task run twice, or by two workers at once: the same outcome as once."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.apps import apps

from bookings.models import Shop
from config.celery import app
from reminders import tasks
from reminders.models import Notice, Packed
from tests.parts.crowds import all_at_once
from tests.parts.smtp_sink import SmtpSink
from tests.parts.stories import MORNING, collected, confirmed

pytestmark = pytest.mark.django_db(transaction=True)
app.finalize()
TASKS = sorted(name for name in app.tasks if name.startswith(f"{tasks.__package__}."))
# What tells when or how often somebody looked, and not what came of it.
ASIDE = {"Tick", "Pace", "Session"}


def outcome() -> dict[str, list[Any]]:
    """All facts of ours, without keys and tokens, which are made anew each time."""
    found = {}
    for model in [*apps.get_app_config("bookings").get_models(), *apps.get_app_config("reminders").get_models()]:
        if model.__name__ in ASIDE:
            continue
        plain = [field.attname for field in model._meta.concrete_fields if field.attname != "lease_token"]
        found[model.__name__] = sorted(map(repr, model._default_manager.values_list(*plain)))
    return found


def moments() -> list[datetime]:
    """When there is something for each task: mail is due, a word on the day before soon, a bike has gone home."""
    confirmed()
    _, home = collected(MORNING + timedelta(days=9), name="Bo", email="bo@example.org", phone="+447700900124")
    return [MORNING + timedelta(hours=2), home]


def run(task: str, now: datetime, workers: int) -> None:
    all_at_once([partial(app.tasks[task], now=now.isoformat())] * workers)


def test_there_are_tasks_to_try() -> None:
    assert {"reminders.sweep", "reminders.plan", "reminders.prepare", "reminders.tick_sweep"} <= set(TASKS)


@pytest.mark.parametrize("task", TASKS)
@pytest.mark.parametrize("workers", [1, 2])
def test_run_again_a_task_changes_nothing_more(shop_world: Shop, smtp_sink: SmtpSink, task: str, workers: int) -> None:
    for now in moments():
        run(task, now, workers)
        once, arrived = outcome(), len(smtp_sink.messages)
        run(task, now, workers)
        assert outcome() == once
        assert len(smtp_sink.messages) == arrived
    identities = [message.message["Message-ID"] for message in smtp_sink.messages]
    assert len(set(identities)) == len(identities)
    causes = list(Notice.objects.values_list("kind", "subject_key", "cycle"))
    assert len(set(causes)) == len(causes) and Packed.objects.count() <= len(causes)
