"""Something is not right after a visit: the rider says so, and the next visit of the bike is the answer."""

from __future__ import annotations

from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from bookings.models import BookingRequest, Visit
from reminders.models import ReturnAsk

BY_VISIT = "return visit"


@transaction.atomic
def ask(*, visit: Visit, words: str, now: datetime) -> ReturnAsk:
    """Keep what is not right; said again while it is open, it is added to what was said before."""
    found, is_new = ReturnAsk.objects.get_or_create(
        visit=visit, settled_at=None, defaults={"words": words, "asked_at": now}
    )
    if not is_new and words not in found.words:
        found = ReturnAsk.objects.select_for_update().get(pk=found.pk)
        found.words = f"{found.words}\n\n{words}"
        found.save(update_fields=["words"])
    return found


def link(visit: Visit, *, now: datetime) -> bool:
    """Let a newly booked visit answer what is open on its bike; True when it does.

    Runs in the transaction of the booking. A day proposed for winter is no answer.
    """
    if visit.request.source == BookingRequest.Source.RECALL:
        return False
    open_one = _open(visit).order_by("-asked_at").first()
    if open_one is None:
        return False
    return bool(_open(visit).filter(pk=open_one.pk).update(return_visit=visit, settled_at=now, settled_by=BY_VISIT))


def _open(visit: Visit) -> QuerySet[ReturnAsk]:
    return ReturnAsk.objects.filter(visit__bike=visit.bike, settled_at__isnull=True).exclude(visit=visit)


def unlink(visit: Visit) -> bool:
    """Open the ask again whose return visit will not take place; True when there is one and none is open yet."""
    try:
        with transaction.atomic():
            answered = ReturnAsk.objects.filter(return_visit=visit)
            return bool(answered.update(return_visit=None, settled_at=None, settled_by=""))
    except IntegrityError:
        return False  # the rider has asked once more meanwhile, and that stands open


def settle(ask: ReturnAsk, *, by: str, now: datetime) -> bool:
    """Somebody has seen to it without another visit; False when it is settled already."""
    still_open = ReturnAsk.objects.filter(pk=ask.pk, settled_at__isnull=True)
    return bool(still_open.update(settled_at=now, settled_by=by[:150]))
