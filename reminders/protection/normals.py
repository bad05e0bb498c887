"""Monthly normals of stations from a shop's own CSV file, refused line by line."""

from __future__ import annotations

import csv
from collections.abc import Iterable

from bookings.rules.errors import FieldError, InputErrors
from reminders.protection.bounds import refuse
from reminders.protection.types import Climate

NUMBERS = ("temperature_c", "relative_humidity_percent", "minimum_temperature_c", "frost_days")
COLUMNS = ("station", "month", *NUMBERS)


def read_normals(lines: Iterable[str]) -> dict[str, Climate]:
    """Lines of a CSV file with the header COLUMNS, twelve rows a station in any order → climates by name.

    Lines starting with # are comments; an empty frost_days leaves them to be estimated. Raises InputErrors whose
    fields read ``line 7, month``.
    """
    numbered = [(number, line) for number, line in enumerate(lines, start=1) if line.strip() and line[0] != "#"]
    rows = csv.DictReader(line for _, line in numbered)
    missing = [column for column in COLUMNS if column not in (rows.fieldnames or ())]
    refuse(FieldError("line 1", f"the column {column} is missing") for column in missing)
    stations: dict[str, dict[int, dict[str, float | None]]] = {}
    errors: list[FieldError] = []
    for (number, _), row in zip(numbered[1:], rows, strict=False):
        errors += _add(stations, number, row)
    refuse(errors)
    return {name: _climate(name, months) for name, months in stations.items()}


def _add(
    stations: dict[str, dict[int, dict[str, float | None]]], number: int, row: dict[str, str | None]
) -> list[FieldError]:
    name, month = (row["station"] or "").strip(), (row["month"] or "").strip()
    if not name:
        return [FieldError(f"line {number}, station", "is empty")]
    if month not in map(str, range(1, 13)):
        return [FieldError(f"line {number}, month", f"must be 1 to 12, not {month!r}")]
    months = stations.setdefault(name, {})
    if int(month) in months:
        return [FieldError(f"line {number}, month", f"stands twice for {name}")]
    months[int(month)] = {}
    errors = []
    for column in NUMBERS:
        text = (row[column] or "").strip()
        try:
            months[int(month)][column] = None if column == "frost_days" and not text else float(text)
        except ValueError:
            errors.append(FieldError(f"line {number}, {column}", f"must be a number, not {text!r}"))
    return errors


def _climate(name: str, months: dict[int, dict[str, float | None]]) -> Climate:
    missing = [str(month) for month in range(1, 13) if month not in months]
    if missing:
        raise InputErrors([FieldError(name, f"months missing: {', '.join(missing)}")])
    try:
        return Climate.from_rows(months[month] for month in range(1, 13))
    except InputErrors as refused:
        raise InputErrors(FieldError(f"{name}, {error.field}", error.message) for error in refused.errors) from refused
