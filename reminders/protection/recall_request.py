"""Reads the question the recall command answers, and words the answer."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any

from bookings.rules.reading import Reader
from reminders.protection.recall import WEIGHT_DECIMALS, Bike, Day, Weights, plan

MOST_DAYS, MOST_BIKES, MOST_CAPACITY, MOST_MINUTES, LONGEST_ID = 400, 20_000, 1_000_000, 100_000, 200
MOST_WEIGHT = 1_000_000


@dataclass(frozen=True)
class RecallRequest:
    """What is asked: days with room, bikes with windows, the first salted day or None, and what matters how much."""

    days: tuple[Day, ...]
    bikes: tuple[Bike, ...]
    salt_from: date | None
    weights: Weights


def read(document: Any) -> RecallRequest:
    """The request in a parsed JSON document; raises InputErrors with every fault and its field."""
    reader = Reader()
    given = reader.record(document, "", ("days", "bikes", "salt_from"), ("weights",))
    if not given:
        reader.finish()
    days = [_day(reader, *member) for member in reader.items(given.get("days"), "days", MOST_DAYS)]
    bikes = [_bike(reader, *member) for member in reader.items(given.get("bikes"), "bikes", MOST_BIKES)]
    salt_from = given.get("salt_from")
    salted = None if salt_from is None else reader.day(salt_from, "salt_from")
    weights = _weights(reader, given.get("weights"))
    _refuse_repeats(reader, [day.day if day else None for day in days], "days", "date")
    _refuse_repeats(reader, [bike.id if bike else None for bike in bikes], "bikes", "id")
    reader.finish()
    return RecallRequest(
        tuple(day for day in days if day), tuple(bike for bike in bikes if bike), salted, Weights(**weights)
    )


def answer(request: RecallRequest) -> dict[str, Any]:
    """The plan, each bike in the order it was given, and the weights it was made with."""
    found = plan(request.days, request.bikes, request.salt_from, request.weights)
    return {
        "invites": [{"id": name, "date": day.isoformat() if day else None} for name, day in found.invites],
        "total_loss": found.total_loss,
        "optimal": found.optimal,
        "weights": asdict(request.weights),
    }


def _day(reader: Reader, value: Any, field: str) -> Day | None:
    given = reader.record(value, field, ("date", "capacity"))
    if not given:
        return None
    day = reader.day(given.get("date"), f"{field}.date")
    capacity = reader.whole(given.get("capacity"), f"{field}.capacity", 0, MOST_CAPACITY)
    return None if day is None or capacity is None else Day(day, capacity)


def _bike(reader: Reader, value: Any, field: str) -> Bike | None:
    given = reader.record(value, field, ("id", "earliest", "ideal", "latest"), ("minutes",))
    if not given:
        return None
    name = _name(reader, given.get("id"), f"{field}.id")
    earliest, ideal, latest = (
        reader.day(given.get(each), f"{field}.{each}") for each in ("earliest", "ideal", "latest")
    )
    minutes = reader.whole(given.get("minutes", 1), f"{field}.minutes", 1, MOST_MINUTES)
    if earliest and ideal and ideal < earliest:
        reader.refuse(f"{field}.ideal", "must not be before the earliest day")
    if ideal and latest and latest < ideal:
        reader.refuse(f"{field}.latest", "must not be before the ideal day")
    if name is None or earliest is None or ideal is None or latest is None or minutes is None:
        return None
    return Bike(name, earliest, ideal, latest, minutes)


def _name(reader: Reader, value: Any, field: str) -> str | int | None:
    if isinstance(value, str) and 0 < len(value) <= LONGEST_ID:
        return value
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    reader.refuse(field, f"must be a whole number, or text of 1 to {LONGEST_ID} characters")
    return None


def _weights(reader: Reader, value: Any) -> dict[str, float]:
    names = [field.name for field in fields(Weights)]
    given = {} if value is None else reader.record(value, "weights", (), names)
    read_weights = {}
    for name in names:
        if name in given:
            weight = reader.number(given[name], f"weights.{name}", 0, MOST_WEIGHT)
            if weight is not None and round(weight, WEIGHT_DECIMALS) != weight:
                reader.refuse(f"weights.{name}", f"must have no more than {WEIGHT_DECIMALS} decimals")
            elif weight is not None:
                read_weights[name] = weight
    return read_weights


def _refuse_repeats(reader: Reader, values: list[Any], field: str, name: str) -> None:
    first: dict[Any, int] = {}
    for number, value in enumerate(values):
        if value is not None and first.setdefault(value, number) != number:
            reader.refuse(f"{field}[{number}].{name}", f"is the same as {field}[{first[value]}].{name}")
