"""Who may be written to."""

from __future__ import annotations

from bookings.models import Rider
from reminders.models import RecallConsent, Suppression


def agrees_to_recall(rider: Rider) -> bool:
    """Whether the rider's yes to recall mail stands."""
    return RecallConsent.objects.filter(rider=rider, withdrawn_at__isnull=True).exists()


def suppressed(address: str) -> str:
    """Why no mail may go to an address, or an empty text."""
    found = Suppression.objects.filter(address=address.lower()).first()
    return found.reason or "suppressed" if found else ""
