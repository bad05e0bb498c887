"""Facts as iCalendar, and answers to it. Only this package speaks iCalendar.

Equal facts give equal bytes: the stamp is the stored moment of the revision, never the present one. Times are
written in UTC, so no zone rules travel along and no client can misread them.
"""

from bookings.ics.feeds import Entry, feed
from bookings.ics.invitations import InvitationFacts, Method, Status, invitation
from bookings.ics.replies import LARGEST_REPLY_BYTES, Reply, ToldEvent, read_reply, told

__all__ = [
    "LARGEST_REPLY_BYTES",
    "Entry",
    "InvitationFacts",
    "Method",
    "Reply",
    "Status",
    "ToldEvent",
    "feed",
    "invitation",
    "read_reply",
    "told",
]
