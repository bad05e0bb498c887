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
from reminders.selectors.due_soon import (
    DueCase,
    coat_cycle,
    due_soon_cases,
    is_booked,
)
from reminders.selectors.estimates import (
    estimate_basis,
    own_values,
    parameter_changes,
    parameters_in_force,
)
from reminders.selectors.learning import (
    Knowledge,
    finding_of,
    findings_outdated,
    knowledge,
    newest_findings,
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
    climate_months,
    climate_obstacle,
    known_weather,
    shop_climate,
    site_input,
    weather_span,
)
from reminders.selectors.readings import (
    OdometerLine,
    coats_to_grade,
    findings,
    odometer,
    odometer_lines,
    standing,
    tours,
    washed_on,
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
    "DueCase",
    "Knowledge",
    "OdometerLine",
    "RecallCase",
    "agrees_to_recall",
    "climate_months",
    "climate_obstacle",
    "coat_cycle",
    "coats_due",
    "coats_input",
    "coats_of",
    "coats_to_grade",
    "collected_without_schedule",
    "derived",
    "due_soon_cases",
    "estimate_basis",
    "finding_of",
    "findings",
    "findings_outdated",
    "forecast_input",
    "knowledge",
    "is_booked",
    "known_weather",
    "late",
    "late_or_doubtful",
    "latest_schedule",
    "live_schedules",
    "newest_findings",
    "notices",
    "notices_for",
    "odometer",
    "odometer_lines",
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
    "standing",
    "start_day",
    "suppressed",
    "today",
    "tours",
    "use_input",
    "washed_on",
    "weather_span",
    "without_email",
]
