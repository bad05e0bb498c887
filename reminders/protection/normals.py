"""Monthly normals of stations from a shop's own files, refused line by line."""

from __future__ import annotations

from collections.abc import Iterable

from bookings.rules.errors import FieldError, InputErrors
from reminders.protection.bounds import refuse
from reminders.protection.tables import Row, read_rows
from reminders.protection.types import Climate
from reminders.protection.weather_files import missing_months, put_month

NUMBERS = ("temperature_c", "relative_humidity_percent", "minimum_temperature_c", "frost_days")
COLUMNS = ("station", "month", *NUMBERS)
# Twelve lines a station; a country's whole network has some ten thousand.
LONGEST_NORMALS_LINES = 200_000


def read_normals(lines: Iterable[str]) -> dict[str, Climate]:
    """Lines of a table with the header COLUMNS, twelve rows a station in any order → climates by name.

    Lines starting with # are comments; an empty frost_days leaves them to be estimated. Raises InputErrors whose
    fields read ``line 7, month``.
    """
    stations: dict[str, dict[int, Row]] = {}
    errors: list[FieldError] = []
    for row in read_rows(lines, COLUMNS, at_most=LONGEST_NORMALS_LINES):
        if name := row.cells["station"]:
            errors += put_month(stations.setdefault(name, {}), row)
            errors += (error for column in NUMBERS for error in _number(row, column)[1])
        else:
            errors.append(FieldError(row.field("station"), "is empty"))
    refuse(errors)
    return {name: _climate(name, months) for name, months in stations.items()}


def _number(row: Row, column: str) -> tuple[float | None, list[FieldError]]:
    return (None, []) if column == "frost_days" and not row.cells[column] else row.value(column)


def _climate(name: str, months: dict[int, Row]) -> Climate:
    if missing := missing_months(months):
        raise InputErrors([FieldError(name, f"months missing: {missing}")])
    rows = [{column: _number(months[month], column)[0] for column in NUMBERS} for month in sorted(months)]
    try:
        return Climate.from_rows(rows)
    except InputErrors as refused:
        raise InputErrors(FieldError(f"{name}, {error.field}", error.message) for error in refused.errors) from refused
