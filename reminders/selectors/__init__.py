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
from reminders.selectors.estimates import (
    estimate_basis,
    own_values,
    parameter_changes,
    parameters_in_force,
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
    shop_climate,
    site_input,
    weather_span,
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
    derived,
    forecast_input,
    latest_schedule,
    live_schedules,
    schedule_obstacle,
    schedules_outdated,
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
    "derived",
    "estimate_basis",
    "forecast_input",
    "late",
    "late_or_doubtful",
    "latest_schedule",
    "live_schedules",
    "notices",
    "notices_for",
    "own_values",
    "parameter_changes",
    "parameters_in_force",
    "quiet_hours",
    "recall_by_phone",
    "recall_cases",
    "schedule_obstacle",
    "schedules_outdated",
    "schedules_outlived",
    "season_name",
    "shop_climate",
    "site_input",
    "start_day",
    "suppressed",
    "today",
    "use_input",
    "weather_span",
    "without_email",
]
