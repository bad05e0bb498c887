"""Notices written ahead of their time are written anew when what they say or whom they reach has changed.

One that was handed over, or perhaps was, keeps its bytes for good.
"""

from __future__ import annotations

from django.db.models import Exists, OuterRef, QuerySet

from bookings.models import Rider
from reminders.mailer import Outcome
from reminders.models import Attempt, Notice, Packed


def untouched(notices: QuerySet[Notice]) -> QuerySet[Notice]:
    """Those of the notices that wait and have surely never reached a server."""
    doubted = Attempt.objects.filter(notice=OuterRef("pk"), outcome=Outcome.IN_DOUBT)
    return notices.filter(state=Notice.State.WAITING, handed_over_at__isnull=True).exclude(Exists(doubted))


def recompose(notices: QuerySet[Notice]) -> int:
    """Forget the words of notices that have not left; gives how many are written anew."""
    frozen = untouched(notices).filter(composed_at__isnull=False)
    Packed.objects.filter(notice__in=untouched(notices)).delete()
    return frozen.update(composed_at=None)


def readdress(rider: Rider) -> int:
    """Let what is owed to a rider go to the address they have now; gives how many notices changed theirs."""
    if not rider.email:
        return 0
    owed = untouched(Notice.objects.filter(rider=rider)).exclude(recipient=rider.email)
    Packed.objects.filter(notice__in=owed).delete()
    return owed.update(recipient=rider.email, composed_at=None)
