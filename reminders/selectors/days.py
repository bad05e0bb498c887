"""The shop's own days and hours."""

from __future__ import annotations

from datetime import date, datetime

from bookings import selectors as bookings
from bookings.models import Visit
from reminders.timing import QuietHours


def today(now: datetime) -> date:
    """The shop's own day at `now`."""
    return now.astimezone(bookings.require_shop().zone).date()


def start_day(visit: Visit) -> date:
    """The shop's own day on which the work on a visit starts."""
    return today(visit.starts_at)


def quiet_hours() -> QuietHours:
    """The shop's hours in which reminders wait."""
    shop = bookings.require_shop()
    return QuietHours(shop.zone, shop.quiet_from, shop.quiet_until)
