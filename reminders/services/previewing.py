"""How a wording would look in a rider's mail, on the newest visit it fits, or on samples."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime

from bookings.models import Visit
from reminders.models import Notice, Recall
from reminders.selectors import bikes_due
from reminders.services.composing import Composed, compose, sample
from reminders.services.fitness import FITTING
from reminders.services.texts import Wording

log = logging.getLogger(__name__)
Kind = Notice.Kind
NOBODY = "nobody@example.com"  # stands in the invitation of a rider who has no address


@dataclass(frozen=True)
class Preview:
    """The mail as it would be, and what it was written for; empty for samples."""

    composed: Composed
    about: str


def preview(kind: str, wanted: Wording, *, now: datetime) -> Preview:
    """The mail this wording would make. Nothing is kept and nothing is sent."""
    notice = _notice_for(kind, now)
    if notice is not None:
        try:
            return Preview(compose(notice, now=now, template=wanted), _about(notice))
        except Exception:  # a visit whose records do not fit must not keep anybody from looking at the words
            log.exception("no preview of %s on a real visit", kind)
    return Preview(sample(wanted, kind), "")


def _notice_for(kind: str, now: datetime) -> Notice | None:
    """A notice that is not in the outbox, about something real."""
    if kind == Kind.MORNING:
        return Notice(kind=kind, recipient="", message_id="<preview>")
    if kind == Kind.DUE_SOON:
        case = next(iter(bikes_due(now)), None)
        return Notice(kind=kind, bike=case.bike, rider=case.bike.rider, message_id="<preview>") if case else None
    visit = _visit_for(kind)
    if visit is None:
        return None
    rider = visit.bike.rider
    address = rider.email or NOBODY
    return Notice(kind=kind, visit=visit, bike=visit.bike, rider=rider, recipient=address, message_id="<preview>")


def _visit_for(kind: str) -> Visit | None:
    """The newest visit in a state in which this kind is sent."""
    fitting = Visit.objects.filter(state__in=FITTING[Kind(kind)]).select_related("bike__rider", "tier", "request")
    if kind == Kind.RECALL:
        fitting = fitting.filter(pk__in=Recall.objects.exclude(visit=None).values("visit"))
    return fitting.order_by("-starts_at", "-pk").first()


def _about(notice: Notice) -> str:
    if notice.visit is not None:
        return f"{notice.visit.bike.rider}, {notice.visit}"
    return f"{notice.bike.rider}, {notice.bike}" if notice.bike else ""
