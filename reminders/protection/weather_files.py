"""A shop's own climate and weather from tables: twelve months, or one row a day. Every error names line and column."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from bookings.rules.errors import FieldError, InputErrors
from bookings.rules.reading import calendar_day
from reminders.protection.bounds import refuse
from reminders.protection.tables import Row, read_rows
from reminders.protection.types import Climate, Observation

MEASURED = ("temperature_c", "minimum_temperature_c", "relative_humidity_percent")
MONTH_COLUMNS, MONTH_EXTRAS = ("month", *MEASURED), ("frost_days",)
DAY_COLUMNS = ("date", *MEASURED)


def read_months(lines: Iterable[str]) -> Climate:
    """Twelve rows with MONTH_COLUMNS in any order; `frost_days` for every month or for none. Raises InputErrors."""
    months: dict[int, Row] = {}
    errors: list[FieldError] = []
    for row in read_rows(lines, MONTH_COLUMNS, MONTH_EXTRAS):
        errors += put_month(months, row)
    missing = missing_months(months)
    if missing and not errors:
        errors.append(FieldError("month", f"missing: {missing}"))
    has_frost = any(row.cells.get("frost_days") for row in months.values())
    columns: dict[str, list[float]] = {name: [] for name in (*MEASURED, *(MONTH_EXTRAS if has_frost else ()))}
    for month in sorted(months):
        for name, column in columns.items():
            value, wrong = months[month].value(name)
            column.append(value)
            errors += wrong
    refuse(errors)
    return _climate(columns, months)


def put_month(months: dict[int, Row], row: Row) -> list[FieldError]:
    """Put a row at the month it names; what is wrong when it names none, or one that stands already."""
    text = row.cells["month"]
    month = int(text) if text.isascii() and text.isdecimal() and len(text) <= 2 else 0
    if not 1 <= month <= 12:
        return [FieldError(row.field("month"), f"must be 1 to 12, not “{text[:40]}”")]
    if months.setdefault(month, row) is not row:
        return [FieldError(row.field("month"), f"{month} stands already in line {months[month].number}")]
    return []


def missing_months(months: Mapping[int, Row]) -> str:
    """The months without a row, commas between; empty when there are all twelve."""
    return ", ".join(str(month) for month in range(1, 13) if month not in months)


def _climate(columns: dict[str, list[float]], months: dict[int, Row]) -> Climate:
    try:
        return Climate(**{name: tuple(column) for name, column in columns.items()})
    except InputErrors as refused:
        raise InputErrors(_at_line(error, months) for error in refused.errors) from None


def _at_line(error: FieldError, months: dict[int, Row]) -> FieldError:
    """``temperature_c[3]`` is April's, wherever its line stands."""
    name, _, index = error.field.rstrip("]").partition("[")
    return FieldError(months[int(index) + 1].field(name), error.message)


def read_days(lines: Iterable[str], today: date) -> tuple[Observation, ...]:
    """Observed days with DAY_COLUMNS, in any order, none after `today`; sorted by day. Raises InputErrors."""
    days: dict[date, tuple[int, Observation]] = {}
    errors: list[FieldError] = []
    rows = read_rows(lines, DAY_COLUMNS)
    for row in rows:
        found = _day(row, today, errors)
        if found is None:
            continue
        if found.on in days:
            errors.append(FieldError(row.field("date"), f"{found.on} stands already in line {days[found.on][0]}"))
        else:
            days[found.on] = (row.number, found)
    if not rows:
        errors.append(FieldError("line 2", "no day follows the header"))
    refuse(errors)
    return tuple(days[day][1] for day in sorted(days))


def _day(row: Row, today: date, errors: list[FieldError]) -> Observation | None:
    before, text = len(errors), row.cells["date"]
    on = calendar_day(text)
    if on is None:
        problem = f"must be a day written YYYY-MM-DD, not “{text[:40]}”" if text else "is empty"
        errors.append(FieldError(row.field("date"), problem))
    elif on > today:
        errors.append(FieldError(row.field("date"), f"{on} has not been yet"))
    values = {name: row.value(name) for name in MEASURED}
    errors += [error for _, wrong in values.values() for error in wrong]
    if on is None or len(errors) > before:
        return None
    try:
        return Observation(on=on, **{name: value for name, (value, _) in values.items()})
    except InputErrors as refused:
        names = {"on": "date"}
        errors += [
            FieldError(row.field(names.get(error.field, error.field)), error.message) for error in refused.errors
        ]
        return None
