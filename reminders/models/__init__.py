"""Facts of stages four to six: protection schedule, reminder, message."""

from reminders.models.consent import RecallConsent, Suppression
from reminders.models.estimates import ParameterChange, WeatherDay
from reminders.models.feeds import Feed
from reminders.models.messages import (
    MAY_WAIT,
    RECALL_STREAM,
    Attempt,
    Handling,
    Notice,
    NoticeText,
    ProviderEvent,
)
from reminders.models.posting import Pace, Packed, Tick
from reminders.models.readings import OdometerReading, Told, Tour, Wash, ZoneFinding
from reminders.models.reminders import Recall, ReturnAsk
from reminders.models.schedules import CoatDue, Schedule

__all__ = [
    "MAY_WAIT",
    "RECALL_STREAM",
    "Attempt",
    "CoatDue",
    "Feed",
    "Handling",
    "Notice",
    "NoticeText",
    "OdometerReading",
    "Pace",
    "Packed",
    "ParameterChange",
    "ProviderEvent",
    "Recall",
    "RecallConsent",
    "ReturnAsk",
    "Schedule",
    "Suppression",
    "Tick",
    "Told",
    "Tour",
    "Wash",
    "WeatherDay",
    "ZoneFinding",
]
