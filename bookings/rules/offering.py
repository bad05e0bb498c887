"""Which of the free starts a rider is shown: all of them would bury the choice."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

_GRID = timedelta(minutes=15)


def worth_showing(starts: Sequence[datetime], zone: ZoneInfo) -> list[datetime]:
    """Starts on the full hour of `zone`, and the first of each unbroken run, which leaves no gap in the diary.

    `starts` are aware, ascending, on the quarter-hour grid; so is the result.
    """
    shown = []
    before: datetime | None = None
    for start in starts:
        begins_run = before is None or start - before > _GRID
        if begins_run or start.astimezone(zone).minute == 0:
            shown.append(start)
        before = start
    return shown
