"""Reading a parsed JSON document: every value checked, every fault kept with its field, all told at once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import date, datetime
from enum import StrEnum
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from bookings.rules.errors import FieldError, InputErrors

Choice = TypeVar("Choice", bound=StrEnum)
Built = TypeVar("Built")
FIRST_YEAR, LAST_YEAR = 1970, 2199
# Where what a number is for has its own bounds, all that is asked here is that a float can hold it.
LARGEST = 1e300
LONGEST_NAME_SHOWN = 200
_NAMES = {bool: "true or false", str: "text", list: "a list", dict: "an object", type(None): "null"}
# [0-9], as \d would also take the digits of other scripts.
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}\S*")


def calendar_day(text: str) -> date | None:
    """A day from YYYY-MM-DD; None for what is no such day."""
    try:
        return date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        return None


def month_day(text: str) -> tuple[int, int] | None:
    """Month and day of every year, from MM-DD; None for what is no such day. 29 February is one."""
    found = calendar_day(f"2000-{text}")  # a leap year
    return (found.month, found.day) if found else None


class Reader:
    """Collects faults. Each method returns the value, or nothing after noting what is wrong at `field`."""

    def __init__(self) -> None:
        self._faults: dict[str, FieldError] = {}

    def refuse(self, field: str, message: str) -> None:
        """Note a fault, unless one is known at this field already: a missing value needs no second complaint."""
        self._faults.setdefault(field, FieldError(field, message))

    def finish(self) -> None:
        """Raise InputErrors when anything was refused."""
        if self._faults:
            raise InputErrors(self._faults.values())

    def record(self, value: Any, field: str, required: Iterable[str], optional: Iterable[str] = ()) -> dict[str, Any]:
        """An object with these fields and no others, `field` empty for the whole document; empty after a fault."""
        if not isinstance(value, dict):
            self.refuse(field or "document", "must be a JSON object")
            return {}
        wanted = tuple(required)
        known = (*wanted, *optional)
        prefix = f"{field}." if field else ""
        for name in wanted:
            if name not in value:
                self.refuse(f"{prefix}{name}", "is missing")
        for name in value:
            if name not in known:
                shown = f"{prefix}{name}"[:LONGEST_NAME_SHOWN]
                self.refuse(shown, f"is not a known field; known are {', '.join(known)}")
        return value

    def items(self, value: Any, field: str, at_most: int) -> list[tuple[Any, str]]:
        """The values of a list of up to `at_most`, each with a field of its own; empty after a fault."""
        if not isinstance(value, list):
            self.refuse(field, "must be a list")
            return []
        if len(value) > at_most:
            self.refuse(field, f"has {len(value)} entries; at most {at_most} are taken")
            return []
        return [(member, f"{field}[{number}]") for number, member in enumerate(value)]

    def whole(self, value: Any, field: str, low: int, high: int) -> int | None:
        """A whole number from `low` to `high`."""
        if isinstance(value, bool) or not isinstance(value, int):
            self.refuse(field, "must be a whole number")
        elif not low <= value <= high:
            self.refuse(field, f"must lie between {low} and {high}")
        else:
            return value
        return None

    def number(self, value: Any, field: str, low: float = -LARGEST, high: float = LARGEST) -> float | None:
        """A number from `low` to `high`, both finite; whole numbers stay whole."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(field, f"must be a number, not {_NAMES.get(type(value), 'that')}")
        elif not low <= value <= high:
            self.refuse(field, f"must lie between {low:.15g} and {high:.15g}")
        else:
            return value
        return None

    def day(self, value: Any, field: str) -> date | None:
        """A day as YYYY-MM-DD."""
        found = calendar_day(value) if isinstance(value, str) else None
        if found is None:
            self.refuse(field, "must be a day as YYYY-MM-DD")
        elif not FIRST_YEAR <= found.year <= LAST_YEAR:
            self.refuse(field, f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}")
        else:
            return found
        return None

    def month_day(self, value: Any, field: str) -> tuple[int, int] | None:
        """A day of every year as MM-DD."""
        found = month_day(value) if isinstance(value, str) else None
        if found is None:
            self.refuse(field, "must be a day of the year as MM-DD")
        return found

    def moment(self, value: Any, field: str, zone: ZoneInfo | None) -> datetime | None:
        """An aware time as ISO 8601 with its offset; without one it is read in `zone`."""
        found = None
        if isinstance(value, str) and _MOMENT.fullmatch(value):
            try:
                found = datetime.fromisoformat(value)
            except ValueError:
                found = None
        if found is None:
            self.refuse(field, "must be a time as YYYY-MM-DDTHH:MM, with or without an offset")
        elif not FIRST_YEAR <= found.year <= LAST_YEAR:
            self.refuse(field, f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}")
        elif found.tzinfo is not None:
            return found
        elif zone is not None:
            return found.replace(tzinfo=zone)
        return None

    def zone(self, value: Any, field: str) -> ZoneInfo | None:
        """A time zone of the IANA database."""
        try:
            if isinstance(value, str) and value:
                return ZoneInfo(value)
        except (KeyError, ValueError, OSError):  # unknown, malformed, or the name of a folder of the database
            pass
        self.refuse(field, "must be a time zone such as Europe/Berlin")
        return None

    def choice(self, value: Any, field: str, kind: type[Choice]) -> Choice | None:
        """One of an enumeration's words."""
        if isinstance(value, str) and value in set(kind):
            return kind(value)
        self.refuse(field, f"must be one of {', '.join(kind)}")
        return None

    def build(self, field: str, kind: Callable[..., Built], /, **values: Any) -> Built | None:
        """What `kind` makes of values read before; what it refuses of them is noted under `field`."""
        try:
            return kind(**values)
        except InputErrors as refused:
            prefix = f"{field}." if field else ""
            for error in refused.errors:
                self.refuse(f"{prefix}{error.field}", error.message)
            return None
