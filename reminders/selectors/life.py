"""The whole life of a notice in words, from the fact that caused it to what the provider last said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from reminders.models import Attempt, Handling, Notice, ProviderEvent

TRIED = {
    "sent": gettext_lazy("Handed over."),
    "later": gettext_lazy("The server asks to try later."),
    "no_service": gettext_lazy("The server could not be used."),
    "bad_address": gettext_lazy("The server does not know the address."),
    "refused": gettext_lazy("The server refused this message."),
    "in_doubt": gettext_lazy("The connection broke at the last moment: perhaps taken, perhaps not."),
}
PHASES = {
    "connecting": gettext_lazy("while connecting"),
    "sender": gettext_lazy("at our own address"),
    "recipient": gettext_lazy("at the rider's address"),
    "content": gettext_lazy("at the text"),
    "after_dot": gettext_lazy("after the whole text"),
    "request": gettext_lazy("at the provider"),
}
REPORTED = {
    "queued": gettext_lazy("The provider has it."),
    "sent": gettext_lazy("The provider has passed it on."),
    "delivered": gettext_lazy("It has arrived, says the provider."),
    "deferred": gettext_lazy("The rider's server asks the provider to try later."),
    "bounced": gettext_lazy("It came back."),
    "rejected": gettext_lazy("The provider did not pass it on."),
    "failed": gettext_lazy("The provider could not send it."),
    "complained": gettext_lazy("The recipient called it unwanted."),
    "unsubscribed": gettext_lazy("The recipient wants no more of it."),
    "opened": gettext_lazy("It was opened."),
    "clicked": gettext_lazy("A link in it was followed."),
}


@dataclass(frozen=True)
class Moment:
    """One thing that happened to a notice; `said` is the other side's own words."""

    at: datetime
    words: str
    said: str = ""


def life(notice: Notice) -> list[Moment]:
    """Everything that has happened to a notice, oldest first; what is still to come stands last."""
    past = sorted(_past(notice), key=lambda moment: moment.at)
    if notice.state == Notice.State.WAITING:
        past.append(Moment(notice.due_at, _("Leaves, if it still fits then.")))
    return past


def _past(notice: Notice) -> Iterator[Moment]:
    yield Moment(notice.created_at, _("Owed: %(cause)s.") % {"cause": notice.get_kind_display()})
    if notice.composed_at:
        yield Moment(notice.composed_at, _("Written, in the words below."))
    for attempt in notice.tries.all():
        yield _tried(attempt)
    for event in notice.events.all():
        yield _reported(event)
    for handling in notice.handlings.all():
        yield _handled(handling)
    if notice.settled_at:
        yield Moment(notice.settled_at, notice.get_state_display().capitalize() + ".", notice.outcome)


def _tried(attempt: Attempt) -> Moment:
    words = str(TRIED.get(attempt.outcome, attempt.outcome))
    if attempt.outcome != "sent" and attempt.phase in PHASES:
        words = f"{words.rstrip('.')} ({PHASES[attempt.phase]})."
    code = str(attempt.code) if attempt.code else ""
    return Moment(attempt.at, words, f"{code} {attempt.words}".strip())


def _reported(event: ProviderEvent) -> Moment:
    words = str(REPORTED.get(event.kind, _("The provider says: %(kind)s.") % {"kind": event.kind}))
    return Moment(event.at, f"{event.provider}: {words}", event.words)


def _handled(handling: Handling) -> Moment:
    return Moment(handling.at, f"{handling.by}: {handling.words}")
