"""When a notice leaves: a day in the shop's own calendar and its quiet hours, as an instant in UTC.

A wall-clock time that a clock change skips is read with the offset before the gap, and one that it repeats as its
first occurrence (RFC 5545, 3.3.5), as everywhere in Rimebook.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class QuietHours:
    """Wall-clock hours from `start` up to, not including, `end` in which reminders wait; equal ends mean none.

    `start` later than `end` spans midnight.
    """

    zone: ZoneInfo
    start: time
    end: time

    def covers(self, instant: datetime) -> bool:
        """Tell whether the aware `instant` falls into quiet hours."""
        wall = instant.astimezone(self.zone).time()
        if self.start <= self.end:
            return self.start <= wall < self.end
        return wall >= self.start or wall < self.end

    def after(self, instant: datetime) -> datetime:
        """The aware `instant` in UTC, or the end of the quiet hours it falls into."""
        if not self.covers(instant):
            return instant.astimezone(UTC)
        day = instant.astimezone(self.zone).date()
        # A clock change may skip or repeat the end itself: then the second reading or a following day serves.
        for later in range(4):
            for fold in (0, 1):
                end = _instant(day + later * ONE_DAY, self.end, self.zone, fold)
                if end >= instant and not self.covers(end):
                    return end
        raise ValueError(f"quiet hours from {self.start} to {self.end} never end in {self.zone}")


def send_instant(day: date, wall: time, quiet: QuietHours) -> datetime:
    """`wall` on `day` in the shop's zone, moved out of quiet hours, in UTC."""
    return quiet.after(_instant(day, wall, quiet.zone, 0))


def notice_day(act_by: date, lead_days: int) -> date:
    """The day a notice is due that leaves `lead_days` to act."""
    return act_by - timedelta(days=lead_days)


def _instant(day: date, wall: time, zone: ZoneInfo, fold: int) -> datetime:
    return datetime.combine(day, wall.replace(fold=fold), zone).astimezone(UTC)
