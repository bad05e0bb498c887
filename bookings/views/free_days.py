"""Free starts as a rider is shown them: a handful of days, each with a few times, and a way on to more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _

from bookings import selectors
from bookings.forms.public import stamp
from bookings.models import Tier, Visit
from bookings.rules.durations import Estimate
from bookings.rules.offering import worth_showing
from bookings.rules.types import BikeKind, Condition

WINDOW_DAYS = 28
DAYS_SHOWN = 5
FURTHEST_DAYS = 366

Grouped = list[tuple[str, list[tuple[str, str]]]]


@dataclass(frozen=True)
class FreeDays:
    """`free` is every start of the window, `shown` the choices by day; `lengths` differ where frost sets in."""

    free: list[datetime]
    shown: Grouped
    lengths: list[Estimate]
    next_day: date | None
    is_first: bool


def asked_day(text: str) -> date | None:
    """The day in an address; nonsense counts as not asked."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def soon_enough(start: datetime, now: datetime) -> bool:
    """Whether a start keeps the notice the shop asks for."""
    return start >= now + timedelta(minutes=selectors.require_shop().booking_notice_minutes)


def for_job(
    *,
    tier: Tier,
    kind: BikeKind,
    condition: Condition,
    now: datetime,
    from_day: date | None,
    notice_minutes: int | None = None,
) -> FreeDays:
    """Starts for a job that has no visit yet; staff need no notice."""
    first = _within_reach(from_day, now)
    found = selectors.offers(
        tier=tier,
        kind=kind,
        condition=condition,
        now=now,
        from_day=first,
        days=WINDOW_DAYS,
        notice_minutes=notice_minutes,
    )
    lengths = list(dict.fromkeys(offer.length for offer in found))
    return _grouped(tier, {offer.start: offer.length.promised_minutes for offer in found}, lengths, first, now)


def for_visit(visit: Visit, *, now: datetime, from_day: date | None, notice_minutes: int | None = None) -> FreeDays:
    """Starts to which a visit can be moved; its length stays."""
    first = _within_reach(from_day, now)
    found = selectors.one_start_per_time(
        selectors.free_starts(
            minutes=visit.booked_minutes, now=now, from_day=first, days=WINDOW_DAYS, notice_minutes=notice_minutes
        )
    )
    return _grouped(visit.tier, {slot.start: visit.booked_minutes for slot in found}, [], first, now)


def _within_reach(asked: date | None, now: datetime) -> date:
    today = now.astimezone(selectors.require_shop().zone).date()
    return min(max(asked or today, today), today + timedelta(days=FURTHEST_DAYS))


def _grouped(
    tier: Tier, minutes_by_start: dict[datetime, int], lengths: list[Estimate], first: date, now: datetime
) -> FreeDays:
    zone = selectors.require_shop().zone
    by_day: dict[date, list[datetime]] = {}
    for start in worth_showing(list(minutes_by_start), zone):
        by_day.setdefault(start.astimezone(zone).date(), []).append(start)
    days = list(by_day)
    shown = [
        (
            formats.date_format(day, "l j F"),
            [(stamp(start), _words(tier, start, minutes_by_start[start], zone)) for start in by_day[day]],
        )
        for day in days[:DAYS_SHOWN]
    ]
    today = now.astimezone(zone).date()
    next_day = days[DAYS_SHOWN] if len(days) > DAYS_SHOWN else first + timedelta(days=WINDOW_DAYS)
    return FreeDays(
        free=[start.astimezone(UTC) for start in minutes_by_start],
        shown=shown,
        lengths=lengths,
        next_day=next_day if next_day <= today + timedelta(days=FURTHEST_DAYS) else None,
        is_first=first <= today,
    )


def _words(tier: Tier, start: datetime, minutes: int, zone: ZoneInfo) -> str:
    ready = selectors.ready_from(tier, start, minutes).astimezone(zone)
    begin = start.astimezone(zone)
    words = {"start": f"{begin:%H:%M}", "ready": f"{ready:%H:%M}", "day": formats.date_format(ready, "l j F")}
    if ready.date() == begin.date():
        return _("%(start)s, ready by %(ready)s") % words
    return _("%(start)s, ready by %(ready)s on %(day)s") % words
