"""The Celery application and the whole beat schedule.

The database holds every notice; these ticks only wake workers to look. A tick lost or doubled is harmless.
"""

from __future__ import annotations

import os

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.local")

app = Celery("rimebook")
app.conf.update(settings.CELERY)
app.autodiscover_tasks(["reminders"])
app.conf.beat_schedule = {
    "sweep what is due": {"task": "reminders.sweep", "schedule": 30.0},
    "plan what follows from finished work": {"task": "reminders.plan", "schedule": 60.0},
}
