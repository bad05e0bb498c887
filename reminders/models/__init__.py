"""Facts of stages four to six: protection schedule, reminder, message."""

from reminders.models.consent import RecallConsent, Suppression
from reminders.models.estimates import ParameterChange, WeatherDay
from reminders.models.messages import Attempt, Notice, ProviderEvent
from reminders.models.readings import OdometerReading, Told, Tour, Wash, ZoneFinding
from reminders.models.reminders import Recall
from reminders.models.schedules import CoatDue, Schedule

__all__ = [
    "Attempt",
    "CoatDue",
    "Notice",
    "OdometerReading",
    "ParameterChange",
    "ProviderEvent",
    "Recall",
    "RecallConsent",
    "Schedule",
    "Suppression",
    "Told",
    "Tour",
    "Wash",
    "WeatherDay",
    "ZoneFinding",
]
