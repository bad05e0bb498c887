"""The Celery application and the whole beat schedule.

The database holds every notice; these ticks only wake workers to look. A tick lost or doubled is harmless.
"""

from __future__ import annotations

import os
from datetime import timedelta

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.local")

app = Celery("rimebook")
app.conf.update(settings.CELERY)
app.autodiscover_tasks(["reminders"])
# However many beats run, a tick takes its turn in the database or does nothing (reminders.services.ticks).
app.conf.beat_schedule = {
    "sweep what is due": {"task": "reminders.tick_sweep", "schedule": timedelta(seconds=30) / settings.HASTE},
    "write ahead what falls due soon": {
        "task": "reminders.tick_prepare",
        "schedule": timedelta(seconds=60) / settings.HASTE,
    },
    "plan what follows from finished work": {
        "task": "reminders.tick_plan",
        "schedule": timedelta(seconds=60) / settings.HASTE,
    },
}
