"""Reads the question the slots command answers, and words the answer."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from bookings.rules.reading import Reader
from bookings.rules.slots import MIDNIGHT, Diary, Span, blocking, free_starts

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_WALL_TIME = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
MOST_BAYS, MOST_DAYS, MOST_MINUTES, MOST_BUSY = 50, 1100, 7 * 24 * 60, 200_000


@dataclass(frozen=True)
class SlotRequest:
    """What is asked: where `minutes` of work fit, in any of `bays` bays. Busy times are aware, end after start."""

    diary: Diary
    bays: int
    busy: tuple[tuple[int, datetime, datetime], ...]
    minutes: int


def read(document: Any) -> SlotRequest:
    """The request in a parsed JSON document; raises InputErrors with every fault and its field."""
    reader = Reader()
    required = ("opening", "bays", "minutes", "from", "days", "time_zone")
    fields = reader.record(document, "", required, ("closures", "busy"))
    if not fields:
        reader.finish()
    zone = reader.zone(fields.get("time_zone"), "time_zone")
    bays = reader.whole(fields.get("bays"), "bays", 1, MOST_BAYS)
    minutes = reader.whole(fields.get("minutes"), "minutes", 1, MOST_MINUTES)
    first_day = reader.day(fields.get("from"), "from")
    days = reader.whole(fields.get("days"), "days", 1, MOST_DAYS)
    opening = _opening(reader, fields.get("opening"))
    closures = [reader.day(*member) for member in reader.items(fields.get("closures", []), "closures", MOST_BUSY)]
    busy = [
        _busy(reader, *member, bays or MOST_BAYS, zone)
        for member in reader.items(fields.get("busy", []), "busy", MOST_BUSY)
    ]
    reader.finish()
    assert zone and bays and minutes and first_day and days
    return SlotRequest(
        diary=Diary(opening, frozenset(day for day in closures if day), zone, first_day, days),
        bays=bays,
        busy=tuple(entry for entry in busy if entry),
        minutes=minutes,
    )


def answer(request: SlotRequest) -> dict[str, Any]:
    """Every feasible start, earliest first, in the shop's own time with its offset."""
    busy: dict[int, list[tuple[int, int]]] = {bay: [] for bay in range(1, request.bays + 1)}
    for bay, start, end in request.busy:
        busy[bay].append(blocking(start, end, request.minutes))
    zone = request.diary.zone
    return {
        "slots": [
            {
                "bay": slot.resource,
                "start": slot.start.astimezone(zone).isoformat(),
                "end": slot.end.astimezone(zone).isoformat(),
            }
            for slot in free_starts(request.diary, busy, request.minutes)
        ]
    }


def _opening(reader: Reader, value: Any) -> dict[int, tuple[Span, ...] | Span]:
    fields = reader.record(value, "opening", (), WEEKDAYS)
    opening: dict[int, tuple[Span, ...] | Span] = {}
    for weekday, name in enumerate(WEEKDAYS):
        if fields.get(name) is not None:
            span = _span(reader, fields[name], f"opening.{name}")
            if span:
                opening[weekday] = span
    return opening


def _span(reader: Reader, value: Any, field: str) -> Span | None:
    if not isinstance(value, list) or len(value) != 2:
        reader.refuse(field, 'must be two times, as ["08:00", "18:00"], or null when closed')
        return None
    opens = _wall_time(reader, value[0], f"{field}[0]")
    closes = MIDNIGHT if value[1] == "24:00" else _wall_time(reader, value[1], f"{field}[1]")
    if opens is None or closes is None:
        return None
    if value[1] != "24:00" and closes <= opens:
        reader.refuse(field, "must close after it opens; 24:00 is midnight at the end of the day")
        return None
    return opens, closes


def _wall_time(reader: Reader, value: Any, field: str) -> time | None:
    match = _WALL_TIME.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        reader.refuse(field, "must be a time of day as HH:MM")
        return None
    return time(int(match[1]), int(match[2]))


def _busy(
    reader: Reader, value: Any, field: str, bays: int, zone: ZoneInfo | None
) -> tuple[int, datetime, datetime] | None:
    fields = reader.record(value, field, ("bay", "start", "end"))
    if not fields:
        return None
    bay = reader.whole(fields.get("bay"), f"{field}.bay", 1, bays)
    start = reader.moment(fields.get("start"), f"{field}.start", zone)
    end = reader.moment(fields.get("end"), f"{field}.end", zone)
    if bay is None or start is None or end is None:
        return None
    if end.timestamp() <= start.timestamp():
        reader.refuse(f"{field}.end", "must be after the start")
        return None
    return bay, start, end
