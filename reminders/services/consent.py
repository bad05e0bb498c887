"""Who may be written to: a yes to recall mail, a no that works at once, and addresses mail must not go to."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from bookings.models import Rider
from reminders.models import RECALL_STREAM, Notice, RecallConsent, Suppression


def agree(rider: Rider, *, wording: str, source: str, now: datetime) -> None:
    """Keep a rider's yes with when, where and in which words it was given; a later yes revives a withdrawn one."""
    RecallConsent.objects.update_or_create(
        rider=rider,
        defaults={"given_at": now, "wording": wording, "source": source, "withdrawn_at": None, "withdrawn_by": ""},
    )


@transaction.atomic
def withdraw(rider: Rider, *, by: str, now: datetime) -> None:
    """Stop recall mail to this rider, and to everyone else kept under the same address, at once."""
    who = {"rider__email__iexact": rider.email} if rider.email else {"rider": rider}
    living = RecallConsent.objects.filter(withdrawn_at__isnull=True, **who)
    riders = list(living.values_list("rider_id", flat=True))
    living.update(withdrawn_at=now, withdrawn_by=by)
    Notice.objects.filter(rider__in=riders, kind__in=RECALL_STREAM, state=Notice.State.WAITING).update(
        state=Notice.State.DROPPED, settled_at=now, outcome="The rider no longer wishes to be told before winter."
    )


def suppress(address: str, *, reason: str, now: datetime) -> None:
    """Send nothing more to an address that does not work or whose owner complained."""
    Suppression.objects.get_or_create(address=address.lower(), defaults={"reason": reason[:200], "at": now})
