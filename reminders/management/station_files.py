"""Climate normals a shop has put into a directory of CSV files."""

from __future__ import annotations

import os
from pathlib import Path

from bookings.rules.errors import FieldError, InputErrors
from reminders.protection.normals import read_normals
from reminders.protection.types import Climate


def shop_station(name: str) -> Climate | None:
    """The station's climate from the files in the directory RIMEBOOK_STATIONS, None when none has it.

    Raises InputErrors at climate.station when a file cannot be read or is wrong.
    """
    directory = os.environ.get("RIMEBOOK_STATIONS")
    for path in sorted(Path(directory).glob("*.csv")) if directory else ():
        try:
            found = read_normals(path.read_text(encoding="utf-8-sig").splitlines()).get(name)
        except InputErrors as refused:
            raise InputErrors([FieldError("climate.station", f"{path.name}: {refused}")]) from refused
        except (OSError, UnicodeDecodeError) as error:
            raise InputErrors([FieldError("climate.station", f"{path.name} cannot be read: {error}")]) from error
        if found:
            return found
    return None
