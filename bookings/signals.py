"""What bookings tells whoever listens, inside the transaction of the change itself.

Bookings does not know that reminders exists; a listener that fails rolls the change back, so a fact and the
notice it causes are written together or not at all.
"""

from __future__ import annotations

from django.dispatch import Signal

# Sent with visit=Visit, event=VisitEvent, now=datetime.
visit_changed = Signal()
# Sent with request=BookingRequest, now=datetime.
request_received = Signal()
