"""The only sender of mail. It knows no table; it maps the words of servers and providers to ours."""

from __future__ import annotations

import re
import smtplib
from dataclasses import dataclass
from email.utils import parseaddr
from enum import StrEnum
from types import TracebackType
from typing import Any

from anymail.exceptions import (
    AnymailError,
    AnymailInvalidAddress,
    AnymailRecipientsRefused,
    AnymailRequestsAPIError,
    AnymailSerializationError,
    AnymailUnsupportedFeature,
)
from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from urllib3.exceptions import ConnectTimeoutError, NewConnectionError

from reminders.mailer.letters import RAW_MESSAGE, SHAPES, Letter, MailMessage, Shape, mail_message, pack, picture_id
from reminders.mailer.smtp import BeforeDot, Parcel, Phase, PhasedSmtpBackend, Refusal

__all__ = ["Answer", "Letter", "Mailer", "Outcome", "Parcel", "Phase", "PhasedSmtpBackend", "pack", "picture_id"]
WORDS_KEPT = 300
# Anymail raises these while it builds the request.
NEVER_POSTED = (AnymailUnsupportedFeature, AnymailInvalidAddress, AnymailSerializationError)


class Outcome(StrEnum):
    """How a hand-over ended. Only `IN_DOUBT` leaves open whether the message was taken."""

    SENT = "sent"
    LATER = "later"
    NO_SERVICE = "no_service"
    BAD_ADDRESS = "bad_address"
    REFUSED = "refused"
    IN_DOUBT = "in_doubt"


@dataclass(frozen=True)
class Answer:
    """What became of one message; `words` are the other side's own."""

    outcome: Outcome
    phase: Phase
    code: int | None = None
    words: str = ""


class Mailer:
    """One connection for many messages, opened with the first. Use as a context."""

    def __init__(self, backend: BaseEmailBackend | None = None) -> None:
        self.backend: Any = backend or get_connection()
        self.shape = SHAPES.get(self.backend.esp_name, Shape()) if hasattr(self.backend, "esp_name") else RAW_MESSAGE

    def __enter__(self) -> Mailer:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        try:
            self.backend.close()
        except (smtplib.SMTPException, OSError):
            return  # what was said before QUIT stands

    @property
    def takes_bytes(self) -> bool:
        """Whether mail goes over SMTP, so that `post` can be given finished bytes."""
        return isinstance(self.backend, PhasedSmtpBackend)

    def deliver(self, letter: Letter, before_dot: BeforeDot) -> Answer:
        """Hand `letter` over; `before_dot` runs just before it can be taken, and may raise to hold it back."""
        if self.takes_bytes:
            return self.post(Parcel(parseaddr(letter.sender)[1], letter.recipient, pack(letter)), before_dot)
        message = mail_message(letter, self.shape)
        before_dot()
        return self._by_interface(message)

    def post(self, parcel: Parcel, before_dot: BeforeDot | None = None) -> Answer:
        """Hand finished bytes to an SMTP server; without `before_dot` the caller has noted that it begins."""
        backend = self.backend
        try:
            code, words = backend.hand_over(parcel, before_dot)
        except Refusal as no:
            return Answer(_of_refusal(no), no.phase, no.code, no.words[:WORDS_KEPT])
        except (smtplib.SMTPException, OSError) as error:
            code_of = getattr(error, "smtp_code", None)
            outcome = Outcome.IN_DOUBT if backend.phase is Phase.AFTER_DOT else Outcome.NO_SERVICE
            return Answer(outcome, backend.phase, code_of if code_of and code_of > 0 else None, str(error)[:WORDS_KEPT])
        return Answer(Outcome.SENT, backend.phase, code, words[:WORDS_KEPT])

    def _by_interface(self, message: MailMessage) -> Answer:
        try:
            self.backend.open()
            self.backend.send_messages([message])
        except (AnymailError, OSError, smtplib.SMTPException) as error:
            code = getattr(error, "status_code", None)
            return Answer(_of_provider(error, code), Phase.REQUEST, code, str(error)[:WORDS_KEPT])
        return Answer(Outcome.SENT, Phase.REQUEST)


def _of_refusal(no: Refusal) -> Outcome:
    if no.phase in (Phase.CONNECTING, Phase.SENDER) or no.code == 421:
        return Outcome.NO_SERVICE  # about us or the server, not about this message
    if no.code < 500:
        return Outcome.LATER
    if no.phase is Phase.RECIPIENT and _names_a_dead_address(no.code, no.words):
        return Outcome.BAD_ADDRESS
    return Outcome.REFUSED


def _names_a_dead_address(code: int, words: str) -> bool:
    """By the enhanced code (RFC 3463: x.1.x addressing, x.2.1 disabled); without one, by RFC 5321, 4.2.3."""
    enhanced = re.match(r"5\.(\d{1,3})\.(\d{1,3})\b", words)
    if enhanced:
        return enhanced[1] == "1" or enhanced.group(1, 2) == ("2", "1")
    return code in (550, 551, 553)


def _of_provider(error: Exception, status: int | None) -> Outcome:
    if isinstance(error, AnymailRecipientsRefused):
        return Outcome.BAD_ADDRESS
    if isinstance(error, AnymailRequestsAPIError) and status is None:
        return Outcome.NO_SERVICE if _never_connected(error) else Outcome.IN_DOUBT
    if status in (401, 403, 429, 503):
        return Outcome.NO_SERVICE
    if isinstance(error, NEVER_POSTED) or (status is not None and 400 <= status < 500):
        return Outcome.REFUSED
    return Outcome.IN_DOUBT


def _never_connected(error: Exception) -> bool:
    cause: Any = error.__cause__
    reason = getattr(cause.args[0], "reason", None) if cause is not None and cause.args else None
    return isinstance(reason, NewConnectionError | ConnectTimeoutError)
