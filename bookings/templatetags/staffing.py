"""Figures of the workbench's pages."""

from __future__ import annotations

from collections.abc import Collection

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from bookings.selectors import DayRoom

register = template.Library()


@register.filter
def hours(minutes: int) -> str:
    """Minutes to the minute, as on a clock: 225 gives “3 h 45”."""
    whole, rest = divmod(minutes, 60)
    return _("%(hours)s h %(minutes)02d") % {"hours": whole, "minutes": rest} if rest else _("%s h") % whole


@register.filter
def filled(day: DayRoom) -> int:
    """Share of a day's open minutes that is booked, in percent; 100 for work booked on a closed day."""
    if not day.open_minutes:
        return 100 if day.booked_minutes else 0
    return round(100 * day.booked_minutes / day.open_minutes)


@register.filter
def hold(minutes: int) -> str:
    """How long a time is held, in the largest unit that is whole."""
    if minutes >= 1440 and minutes % 1440 == 0:
        return ngettext("%(n)s day", "%(n)s days", minutes // 1440) % {"n": minutes // 1440}
    if minutes >= 60 and minutes % 60 == 0:
        return ngettext("%(n)s hour", "%(n)s hours", minutes // 60) % {"n": minutes // 60}
    return _("%(n)s minutes") % {"n": minutes}


@register.filter
def count(things: Collection[object]) -> int:
    """How many there are; `length` means minutes on these pages."""
    return len(things)
