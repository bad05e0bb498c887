"""Writing notices: the words once, from the facts of the moment, and the bytes an SMTP server is given.

What is known to be due at a later moment is written ahead of it, so that a thousand notices of one afternoon can leave
at the speed of the mail server. Bytes written ahead are used only if nothing they were written from has changed since;
bytes that a server has perhaps taken are used again whatever has changed.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection, Sequence
from datetime import datetime, timedelta
from hashlib import blake2b
from operator import attrgetter
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Max, Model

from bookings import selectors as bookings
from bookings.models import Bike, Rider, Shop, Tier, Visit
from reminders.mailer import Mailer, Outcome, pack
from reminders.models import Attempt, Notice, NoticeText, Packed
from reminders.services.claiming import owned, with_facts
from reminders.services.composing import compose, letter_of

log = logging.getLogger(__name__)
AHEAD = timedelta(hours=2)
MOST = 1000
CHUNK = 25
KEPT = timedelta(days=30)
# Kinds known before they are due and written from nothing but the rows that `facts_of` reads.
WRITTEN_AHEAD = (Notice.Kind.DAY_BEFORE,)
_values: dict[type[Model], Callable[[Model], Any]] = {
    model: attrgetter(*(field.attname for field in model._meta.concrete_fields))
    for model in (Shop, Visit, Tier, Bike, Rider)
}


class LeaseLost(Exception):
    """Somebody else owns the notice by now; the server must not take it from us."""


class Facts:
    """Digests of what notices are written from; what all share is read once."""

    def __init__(self) -> None:
        self._shop = bookings.require_shop()
        self._addresses = (settings.MAIL_FROM, settings.PUBLIC_URL)
        self._texts = dict(NoticeText.objects.order_by().values_list("kind").annotate(Max("pk")))
        self._shared = self._values_of(self._shop)

    def of(self, notice: Notice) -> str:
        """Equal digests: the notice would be written the same."""
        visit = notice.visit
        rows = (notice.rider, notice.bike, visit, visit and visit.tier)
        said = (self._shared, self._addresses, self._texts.get(notice.kind), notice.recipient)
        return blake2b(repr((said, [self._values_of(row) for row in rows])).encode(), digest_size=16).hexdigest()

    @staticmethod
    def _values_of(row: Model | None) -> Any:
        return None if row is None else _values[type(row)](row)


def prepare(*, now: datetime) -> int:
    """Write bytes for notices that fall due within the next hours; gives how many. Safe to run twice at once."""
    forget(now=now)
    with Mailer() as mailer:
        if not mailer.takes_bytes:
            return 0
    soon = Notice.objects.filter(
        state=Notice.State.WAITING, kind__in=WRITTEN_AHEAD, due_at__lte=now + AHEAD, packed__isnull=True
    )
    first = soon.order_by("due_at", "pk").values_list("pk", flat=True)[:MOST]
    notices = with_facts(Notice.objects.filter(pk__in=list(first)))
    facts = Facts() if notices else None
    written = 0
    for start in range(0, len(notices), CHUNK):
        rows = [row for notice in notices[start : start + CHUNK] if (row := _ahead(notice, facts, now))]
        # Somebody who writes the same at the same time has the same facts: whose row stays makes no difference.
        Packed.objects.bulk_create(rows, ignore_conflicts=True)
        written += len(rows)
    return written


def _ahead(notice: Notice, facts: Facts | None, now: datetime) -> Packed | None:
    """Date is the moment the notice is due, not the one in which it was written."""
    assert facts is not None
    try:
        _write(notice, max(now, notice.due_at))
        return Packed(notice=notice, facts=facts.of(notice), content=pack(letter_of(notice)))
    except Exception:  # one that cannot be written must not hold up the others; handing over will say why
        log.exception("notice %s could not be written ahead", notice.pk)
        return None


def forget(*, now: datetime) -> None:
    """Bytes of what was settled long ago are of no more use."""
    Packed.objects.filter(notice__settled_at__lt=now - KEPT).delete()


def ready_bytes(notices: Sequence[Notice], doubtful: Collection[int]) -> dict[int, bytes]:
    """Bytes that may be handed over as they are, by primary key; the others have to be written now."""
    keys = [notice.pk for notice in notices]
    rows = {row.notice_id: row for row in Packed.objects.filter(pk__in=keys)}
    if not rows:
        return {}
    facts = Facts()
    return {
        notice.pk: bytes(row.content)
        for notice in notices
        if (row := rows.get(notice.pk)) and (notice.pk in doubtful or row.facts == facts.of(notice))
    }


def doubtful(notices: Sequence[Notice]) -> set[int]:
    """Those that a server has perhaps taken already."""
    again = [notice.pk for notice in notices if notice.attempts > 1]
    if not again:
        return set()
    doubts = Attempt.objects.filter(notice__in=again, outcome=Outcome.IN_DOUBT)
    return set(doubts.values_list("notice_id", flat=True))


def readdress(notices: Sequence[Notice]) -> None:
    """Let claimed notices that no server has taken yet go to the address the rider has by now."""
    for notice in notices:
        address = notice.rider.email if notice.rider else ""
        if address and address != notice.recipient:
            notice.recipient, notice.composed_at = address, None
            owned([notice]).update(recipient=address, composed_at=None)


def freeze(notice: Notice, *, now: datetime) -> None:
    """Compose a claimed notice and keep the words, so that a second hand-over carries the same."""
    fields = _write(notice, now)
    if not owned([notice]).update(**fields):
        raise LeaseLost


def is_stale(notice: Notice) -> bool:
    """Whether bytes are kept that were written from other facts, of a notice that has no ready ones."""
    return Packed.objects.filter(notice=notice).exists()


@transaction.atomic
def keep_bytes(notice: Notice) -> bytes:
    """Pack a frozen notice and keep the bytes, whatever becomes of the shop's name and address."""
    content = pack(letter_of(notice))
    if not owned([notice]).exists():
        raise LeaseLost
    Packed.objects.update_or_create(notice=notice, defaults={"facts": Facts().of(notice), "content": content})
    return content


def _write(notice: Notice, now: datetime) -> dict[str, Any]:
    composed = compose(notice, now=now)
    fields = {
        "composed_at": now,
        "subject_line": composed.subject,
        "text_body": composed.text,
        "html_body": composed.html,
        "calendar_method": composed.calendar_method,
        "calendar_text": composed.calendar_text,
        "picture_png": composed.picture_png,
    }
    for name, value in fields.items():
        setattr(notice, name, value)
    return fields
