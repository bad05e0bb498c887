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
def again(notice: Notice, *, by: str, now: datetime) -> bool:
    """Send a notice in doubt once more in the same bytes; False when it is in doubt no longer."""
    if not outcomes.resend(notice, by=by, now=now):
        return False
    _note(notice, by, _("Sent again in the same words."), now)
    wake(now)
    return True


def next_copy(notice: Notice) -> int:
    """The number the next fresh copy has. A press says which it means, so that pressing twice makes one."""
    family = Notice.objects.filter(kind=notice.kind, subject_key=notice.subject_key)
    return family.filter(cycle__startswith=f"{notice.round}{COPY_MARK}").count() + 1


@transaction.atomic
def copy(notice: Notice, *, number: int, by: str, now: datetime) -> Notice:
    """Write a notice afresh, with a Message-ID of its own, for the address its rider has now; twice is once.

    Raises NotAgain when it would be wrong.
    """
    fresh = Notice.objects.select_for_update(of=("self",)).select_related("rider", "visit", "bike").get(pk=notice.pk)
    cycle = f"{fresh.round}{COPY_MARK}{number}"
    known = Notice.objects.filter(kind=fresh.kind, subject_key=fresh.subject_key, cycle=cycle).first()
    if known is not None:
        return known
    if not may_copy(fresh) or number != next_copy(fresh):
        raise NotAgain(_("A copy of it as it stands would only confuse."))
    made = _copy(fresh, cycle, now)
    if reason := reasons_to_drop([made], now=now).get(made.pk):
        raise NotAgain(reason)
    made.save(force_insert=True)
    _note(fresh, by, _("A fresh copy was sent to %(address)s.") % {"address": made.recipient}, now)
    outcomes.close(fresh, by=by, now=now)
    wake(now)
    return made


def _copy(notice: Notice, cycle: str, now: datetime) -> Notice:
    return Notice(
        kind=notice.kind,
        subject_key=notice.subject_key,
        cycle=cycle,
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
