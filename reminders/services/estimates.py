"""What the shop says of the place and of the numbers; schedules follow by the plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import date, datetime

from django.db import transaction

from bookings.rules.errors import FieldError, InputErrors
from bookings.services.climate import set_months
from reminders import selectors
from reminders.models import ParameterChange, WeatherDay
from reminders.protection.bounds import out_of_bounds
from reminders.protection.parameter_table import DEFAULTS
from reminders.protection.types import Climate, Observation


@transaction.atomic
def set_parameter(*, key: str, value: float, why: str, by: str, now: datetime) -> ParameterChange:
    """Put the shop's own value in the place of the table's. Raises InputErrors at `key`, `value` or `why`."""
    if key not in DEFAULTS:
        raise InputErrors([FieldError("key", "is no number of the estimate")])
    row = DEFAULTS.row(key)
    errors = out_of_bounds("value", value, (row.low, row.high))
    if not errors and selectors.parameters_in_force()[key] == value:
        errors = [FieldError("value", "is in force already")]
    if not why.strip():
        errors = [*errors, FieldError("why", "needs a few words")]
    if errors:
        raise InputErrors(errors)
    return ParameterChange.objects.create(key=key, value=value, since=now, by=by, why=why.strip())


@transaction.atomic
def set_back(*, key: str, why: str, by: str, now: datetime) -> ParameterChange | None:
    """Return to the table's value, whatever it will be in a later release; None when it is in force already."""
    if key not in selectors.own_values():
        return None
    return ParameterChange.objects.create(key=key, value=None, since=now, by=by, why=why)


def write_climate(*, climate: Climate, source: str) -> None:
    """Replace the twelve months."""
    columns = asdict(climate)
    frost = columns.pop("frost_days") or (None,) * 12
    rows = zip(*columns.values(), frost, strict=True)
    set_months(months=[dict(zip((*columns, "frost_days"), row, strict=True)) for row in rows], source=source)


@transaction.atomic
def write_weather(*, days: Iterable[Observation], source: str, now: datetime) -> int:
    """Write observed days, over what was known of them; gives how many were new or different. All or none."""
    given = {day.on: day for day in days}
    known = selectors.known_weather(given)
    fresh = [
        WeatherDay(
            day=on,
            temperature_c=seen.temperature_c,
            minimum_temperature_c=seen.minimum_temperature_c,
            relative_humidity_percent=seen.relative_humidity_percent,
            source=source,
            read_at=now,
        )
        for on, seen in given.items()
        if known.get(on) != seen
    ]
    fields = [field.name for field in WeatherDay._meta.fields if not field.primary_key]
    WeatherDay.objects.bulk_create(
        fresh, batch_size=500, update_conflicts=True, unique_fields=["day"], update_fields=fields
    )
    return len(fresh)


def forget_weather(*, first: date, last: date) -> int:
    """Take out the observed days from `first` to `last`; the normals speak for them again. Gives how many."""
    deleted, _ = WeatherDay.objects.filter(day__gte=first, day__lte=last).delete()
    return deleted
