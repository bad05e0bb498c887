"""What can wait waits: for the end of the quiet hours, and for a day on which the rider has not heard much from us.

Word of a booked visit (pencilled, confirmed, changed, called off, the day before, ready, the care sheet) always goes
at once: the limit only ever holds back the recall stream and the question whether all is well.
"""

from __future__ import annotations

from datetime import datetime, time

from bookings import selectors as bookings
from reminders import selectors
from reminders.models import MAY_WAIT, Notice
from reminders.timing import ONE_DAY, send_instant

State = Notice.State


def wait_until(notice: Notice, *, now: datetime) -> datetime | None:
    """When a notice that is due at `now` may leave instead; None when it may leave now."""
    if notice.kind not in MAY_WAIT:
        return None
    quiet = selectors.quiet_hours()
    if quiet.covers(now):
        return quiet.after(now)
    if _heard_today(notice, now) < bookings.require_shop().most_notices_a_day:
        return None
    return send_instant(selectors.today(now) + ONE_DAY, quiet.end, quiet)


def _heard_today(notice: Notice, now: datetime) -> int:
    """How many other messages went to this address today, or are on their way at this moment."""
    zone = bookings.require_shop().zone
    midnight = datetime.combine(selectors.today(now), time(0), zone)
    theirs = Notice.objects.filter(recipient__iexact=notice.recipient).exclude(pk=notice.pk)
    left = theirs.filter(state=State.SENT, settled_at__gte=midnight)
    return left.count() + theirs.filter(state=State.SENDING).count()
