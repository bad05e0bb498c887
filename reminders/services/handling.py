"""What a person does about a notice: send it again on purpose, or take it off the list because it is seen to."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from reminders.models import Handling, Notice
from reminders.models.messages import COPY_MARK
from reminders.services import outcomes
from reminders.services.fitness import reasons_to_drop
from reminders.services.outbox import message_id
from reminders.services.sending import wake

State = Notice.State


class NotAgain(ValueError):
    """Sending it again would be wrong; says why in plain words."""


def may_copy(notice: Notice) -> bool:
    """Whether a fresh copy can be asked for: it failed, or it left and perhaps got lost on the other side.

    Recall mail that has left is never written twice, and mail to ourselves is out of date by then.
    """
    if notice.rider_id is None:
        return False
    return notice.state == State.FAILED or (notice.state == State.SENT and not notice.is_recall)


@transaction.atomic
def again(notice: Notice, *, by: str, now: datetime) -> Notice:
    """Send a notice again: one in doubt in the same bytes, another as a fresh copy with a Message-ID of its own.

    Raises NotAgain when it would be wrong.
    """
    fresh = Notice.objects.select_for_update(of=("self",)).select_related("rider", "visit", "bike").get(pk=notice.pk)
    if outcomes.resend(fresh, by=by, now=now):
        _note(fresh, by, _("Sent again in the same words."), now)
        wake(now)
        return fresh
    if not may_copy(fresh):
        raise NotAgain(_("It is no longer in doubt, and a second copy of it would only confuse."))
    copy = _copy(fresh, now)
    if reason := reasons_to_drop([copy], now=now).get(copy.pk):
        raise NotAgain(reason)
    copy.save(force_insert=True)
    _note(fresh, by, _("A fresh copy was sent to %(address)s.") % {"address": copy.recipient}, now)
    outcomes.close(fresh, by=by, now=now)
    wake(now)
    return copy


def _copy(notice: Notice, now: datetime) -> Notice:
    """The same notice once more, for the address its rider has now."""
    family = Notice.objects.filter(kind=notice.kind, subject_key=notice.subject_key)
    count = family.filter(cycle__startswith=f"{notice.round}{COPY_MARK}").count() + 1
    return Notice(
        kind=notice.kind,
        subject_key=notice.subject_key,
        cycle=f"{notice.round}{COPY_MARK}{count}",
        rider=notice.rider,
        bike=notice.bike,
        visit=notice.visit,
        recipient=(notice.rider.email if notice.rider else "") or notice.recipient,
        due_at=now,
        not_after=notice.not_after,
        created_at=now,
        message_id=message_id(),
    )


@transaction.atomic
def close(notice: Notice, *, by: str, now: datetime) -> bool:
    """Take a failed or doubtful notice off the list; False when it is off already."""
    if not outcomes.close(notice, by=by, now=now):
        return False
    _note(notice, by, _("Seen to without mail."), now)
    return True


def _note(notice: Notice, by: str, words: str, now: datetime) -> None:
    Handling.objects.create(notice=notice, at=now, by=by[:150], words=words[:200])
