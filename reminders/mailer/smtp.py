"""An SMTP conversation that knows how far it came.

Only the phase tells a message that was surely not taken from one that perhaps was: a connection lost before the final
dot (RFC 5321, 4.1.1.4) is harmless, after it in doubt.
"""

from __future__ import annotations

import re
import smtplib
import socket
from collections.abc import Callable
from enum import StrEnum
from typing import Any

from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.smtp import EmailBackend
from django.core.mail.message import sanitize_address

BeforeDot = Callable[[], None]


class Phase(StrEnum):
    """How far an SMTP conversation had come."""

    CONNECTING = "connecting"
    SENDER = "sender"
    RECIPIENT = "recipient"
    CONTENT = "content"
    AFTER_DOT = "after_dot"
    REQUEST = "request"


class Refusal(smtplib.SMTPResponseException):
    """The server's no, at a known phase."""

    def __init__(self, phase: Phase, code: int, words: str) -> None:
        super().__init__(code, words)
        self.phase, self.code, self.words = phase, code, words


class PhasedSmtpBackend(EmailBackend):
    """Django's SMTP backend with the conversation in its own hands; `phase` stands where the last one stopped."""

    phase = Phase.CONNECTING
    _partial_connection: Any

    def hand_over(self, message: EmailMultiAlternatives, before_dot: BeforeDot) -> tuple[int, str]:
        """Give one message to one recipient and return the server's final code and words.

        `before_dot` runs when all but the final dot is said; if it raises, the server never takes the message.
        Raises Refusal for a clear no, smtplib.SMTPException or OSError for a broken conversation.
        """
        self.phase = Phase.CONNECTING
        try:
            return self._converse(message, before_dot)
        except Refusal as refusal:
            self._keep_or_drop(refusal.code)
            raise
        except BaseException:
            self.drop()
            raise

    def _converse(self, message: EmailMultiAlternatives, before_dot: BeforeDot) -> tuple[int, str]:
        is_new = self.open()
        connection = self.connection
        assert connection is not None
        if is_new and connection.sock is not None:
            # The dot is written by itself; Nagle's algorithm would hold it back for a delayed ACK, 40 ms a message.
            connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.ehlo_or_helo_if_needed()
        charset = "utf-8"
        composed: Any = message.message()
        content = composed.as_bytes(linesep="\r\n")
        self.phase = Phase.SENDER
        self._expect(250, connection.mail(sanitize_address(message.from_email, charset)))
        self.phase = Phase.RECIPIENT
        self._expect(25, connection.rcpt(sanitize_address(message.recipients()[0], charset)))
        self.phase = Phase.CONTENT
        self._expect(354, connection.docmd("DATA"))
        # RFC 5321, 4.5.2: a leading dot is doubled.
        connection.send(re.sub(rb"(?m)^\.", b"..", content.removesuffix(b"\r\n")) + b"\r\n")
        before_dot()
        self.phase = Phase.AFTER_DOT
        connection.send(b".\r\n")
        return self._expect(250, connection.getreply())

    def _expect(self, wanted: int, reply: tuple[int, bytes]) -> tuple[int, str]:
        code, words = reply[0], reply[1].decode("utf-8", "replace")
        if not str(code).startswith(str(wanted)):
            raise Refusal(self.phase, code, words)
        return code, words

    def _keep_or_drop(self, code: int) -> None:
        """A connection on which the server still listens is used again; 421 says that it does not."""
        try:
            if code == 421 or self.connection is None:
                raise smtplib.SMTPServerDisconnected
            self.connection.rset()
        except (smtplib.SMTPException, OSError):
            self.drop()

    def drop(self) -> None:
        """Close without ceremony; a QUIT on a broken connection would only wait for its timeout."""
        for connection in (self.connection, self._partial_connection):
            if connection is not None:
                connection.close()
        self.connection = self._partial_connection = None

    def _send(self, email_message: Any) -> bool:
        if not email_message.recipients():
            return False
        self.hand_over(email_message, lambda: None)
        return True
