"""Notices, as lists show them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from bookings.models import Visit, VisitEvent
from bookings.rules.types import VisitState
from reminders.models import Notice, NoticeText, ReturnAsk

LATE_AFTER = timedelta(minutes=15)


def notices_for(visit: Visit) -> QuerySet[Notice]:
    """Every notice about a visit, in the order they were owed."""
    return Notice.objects.filter(visit=visit).order_by("created_at", "pk")


def late(now: datetime) -> Q:
    """Notices that should have left a while ago."""
    return Q(state__in=(Notice.State.WAITING, Notice.State.SENDING), due_at__lt=now - LATE_AFTER)


def late_or_doubtful(now: datetime) -> QuerySet[Notice]:
    """Notices somebody should look at: late, in doubt or failed."""
    troubled = Q(state__in=(Notice.State.IN_DOUBT, Notice.State.FAILED))
    return notices().filter(late(now) | troubled).order_by("due_at", "pk")


def notices() -> QuerySet[Notice]:
    """Notices with what every list shows."""
    return Notice.objects.select_related("rider", "bike", "visit__tier")


def declined(now: datetime) -> QuerySet[Visit]:
    """Visits ahead that the rider's calendar has declined as they stand; it may be wrong, so somebody rings."""
    said = VisitEvent.objects.filter(visit=OuterRef("pk"), action="replied", at__gte=OuterRef("changed_at"))
    ahead = Visit.objects.filter(state__in=(VisitState.PENCILLED, VisitState.CONFIRMED), starts_at__gt=now)
    return ahead.filter(Exists(said), rider_reply="declined").select_related("bike__rider", "tier")


def text_versions(kind: str) -> QuerySet[NoticeText]:
    """Every wording the shop has given a kind, the newest first."""
    return NoticeText.objects.filter(kind=kind)


def own_text(kind: str) -> NoticeText | None:
    """The newest of them, if there is any."""
    return text_versions(kind).first()


def not_right() -> QuerySet[ReturnAsk]:
    """What riders say is not right and nobody has seen to yet, the longest standing first."""
    return ReturnAsk.objects.filter(settled_at__isnull=True).select_related("visit__bike__rider", "visit__tier")


def without_email(visits: Iterable[Visit]) -> list[Visit]:
    """Visits whose riders get no mail, so somebody has to ring them."""
    return [visit for visit in visits if not visit.bike.rider.email]
