"""What a mail provider tells us later, taken in once however often and in whatever order it is told."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from reminders.models import Notice, ProviderEvent
from reminders.services import consent

State = Notice.State
# A provider's first word that it has the message settles a notice that waits to be sent again, or is in doubt.
TAKEN = {"queued", "sent", "delivered"}
DEAD = {"bounced", "rejected", "failed"}
LONGEST_KEY = 18


@dataclass(frozen=True)
class Report:
    """One event of a provider, in our words; `reference` is what we sent along with the message."""

    provider: str
    event_id: str
    kind: str
    at: datetime
    reference: str
    recipient: str
    words: str = ""


def record(report: Report, *, now: datetime) -> bool:
    """Keep the event and let it act; False when it was known already."""
    notice = _named(report.reference)
    try:
        with transaction.atomic():
            ProviderEvent.objects.create(
                provider=report.provider,
                event_id=_clean(report.event_id),
                notice=notice,
                kind=report.kind,
                at=report.at,
                words=_clean(report.words)[:200],
            )
            _act(report, notice, now)
    except IntegrityError:
        return False
    return True


def _named(reference: str) -> Notice | None:
    """The notice of ours a provider speaks of; a reference that could not be one of ours names none."""
    is_key = reference.isascii() and reference.isdigit() and len(reference) <= LONGEST_KEY
    return Notice.objects.filter(pk=int(reference)).first() if is_key else None


def _clean(words: str) -> str:
    """What a provider says, without characters no database keeps."""
    return " ".join(words.replace("\x00", " ").split())


def _act(report: Report, notice: Notice | None, now: datetime) -> None:
    address = notice.recipient if notice else report.recipient
    if report.kind in TAKEN and notice is not None:
        unsure = Notice.objects.filter(pk=notice.pk, state__in=(State.IN_DOUBT, State.WAITING))
        unsure.filter(handed_over_at__isnull=False).update(
            state=State.SENT, settled_at=now, outcome="The mail provider says that it has it."
        )
    elif report.kind in DEAD:
        if report.kind == "bounced" and address:
            consent.suppress(address, reason=f"came back: {_clean(report.words)}", now=now)
        if notice is not None:
            outcome = f"It came back: {_clean(report.words) or report.kind}. Please ring the rider."[:300]
            alive = Notice.objects.filter(pk=notice.pk).exclude(state__in=(State.SENDING, State.DROPPED))
            alive.update(state=State.FAILED, settled_at=now, outcome=outcome)
    elif report.kind in ("complained", "unsubscribed"):
        if notice is not None and notice.rider is not None:
            consent.withdraw(notice.rider, by=f"mail provider: {report.kind}", now=now)
        if report.kind == "complained" and address:
            consent.suppress(address, reason="the recipient complained", now=now)
