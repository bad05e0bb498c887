"""Who may be written to."""

from __future__ import annotations

from collections.abc import Collection

from bookings.models import Rider
from reminders.models import RecallConsent, Suppression


def agrees_to_recall(rider: Rider) -> bool:
    """Whether the rider's yes to recall mail stands."""
    return RecallConsent.objects.filter(rider=rider, withdrawn_at__isnull=True).exists()


def agreeing_among(riders: Collection[int | None]) -> set[int]:
    """Those of the riders, by primary key, whose yes to recall mail stands."""
    if not riders:
        return set()
    living = RecallConsent.objects.filter(rider__in=riders, withdrawn_at__isnull=True)
    return set(living.values_list("rider_id", flat=True))


def suppressed(address: str) -> str:
    """Why no mail may go to an address, or an empty text."""
    return suppressed_among([address]).get(address.lower(), "")


def suppressed_among(addresses: Collection[str]) -> dict[str, str]:
    """Why no mail may go to some of the addresses, by the address in lower case."""
    found = Suppression.objects.filter(address__in={address.lower() for address in addresses})
    return {row.address: row.reason or "suppressed" for row in found}
