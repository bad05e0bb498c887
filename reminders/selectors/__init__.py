"""All reading of stages four to six, a module to each subject."""

from reminders.selectors.consent import (
    agrees_to_recall,
    suppressed,
)
from reminders.selectors.days import (
    quiet_hours,
    start_day,
    today,
)
from reminders.selectors.messages import (
    LATE_AFTER,
    late,
    late_or_doubtful,
    notices,
    notices_for,
    without_email,
)
from reminders.selectors.place import (
    climate_obstacle,
    site_input,
)
from reminders.selectors.recall import (
    FRESH,
    RecallCase,
    recall_by_phone,
    recall_cases,
    season_name,
)
from reminders.selectors.schedules import (
    coats_due,
    collected_without_schedule,
    forecast_input,
    latest_schedule,
    schedule_obstacle,
    schedules_outlived,
)
from reminders.selectors.use import (
    coats_input,
    coats_of,
    use_input,
)

__all__ = [
    "FRESH",
    "LATE_AFTER",
    "RecallCase",
    "agrees_to_recall",
    "climate_obstacle",
    "coats_due",
    "coats_input",
    "coats_of",
    "collected_without_schedule",
    "forecast_input",
    "late",
    "late_or_doubtful",
    "latest_schedule",
    "notices",
    "notices_for",
    "quiet_hours",
    "recall_by_phone",
    "recall_cases",
    "schedule_obstacle",
    "schedules_outlived",
    "season_name",
    "site_input",
    "start_day",
    "suppressed",
    "today",
    "use_input",
    "without_email",
]
