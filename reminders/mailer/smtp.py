"""An SMTP conversation that knows how far it came.

Only the phase tells a message that was surely not taken from one that perhaps was: a connection lost before the final
dot (RFC 5321, 4.1.1.4) is harmless, after it in doubt.
"""

from __future__ import annotations

import re
import smtplib
import socket
from collections.abc import Callable
from dataclasses import dataclass
from email.utils import parseaddr
from enum import StrEnum
from typing import Any

from django.core.mail.backends.smtp import EmailBackend
from django.core.mail.message import sanitize_address

BeforeDot = Callable[[], None]
_UNPLAIN = re.compile(r"[^ -;=?-~]")


class Phase(StrEnum):
    """How far an SMTP conversation had come."""

    CONNECTING = "connecting"
    SENDER = "sender"
    RECIPIENT = "recipient"
    CONTENT = "content"
    AFTER_DOT = "after_dot"
    REQUEST = "request"


@dataclass(frozen=True)
class Parcel:
    """One message as it goes over the wire: two bare addresses and the finished bytes, lines ended by CRLF."""

    sender: str
    recipient: str
    content: bytes


class Refusal(smtplib.SMTPResponseException):
    """The server's no, at a known phase."""

    def __init__(self, phase: Phase, code: int, words: str) -> None:
        super().__init__(code, words)
        self.phase, self.code, self.words = phase, code, words


class PhasedSmtpBackend(EmailBackend):
    """Django's SMTP backend with the conversation in its own hands; `phase` stands where the last one stopped."""

    phase = Phase.CONNECTING
    _partial_connection: Any

    def hand_over(self, parcel: Parcel, before_dot: BeforeDot | None = None) -> tuple[int, str]:
        """Give one message to one recipient and return the server's final code and words.

        `before_dot` runs when all but the final dot is said; if it raises, the server never takes the message.
        Raises Refusal for a clear no, smtplib.SMTPException or OSError for a broken conversation.
        """
        self.phase = Phase.CONNECTING
        try:
            return self._converse(parcel, before_dot)
        except Refusal as refusal:
            self._keep_or_drop(refusal.code)
            raise
        except BaseException:
            self.drop()
            raise

    def _converse(self, parcel: Parcel, before_dot: BeforeDot | None) -> tuple[int, str]:
        is_new = self.open()
        connection = self.connection
        assert connection is not None
        if is_new and connection.sock is not None:
            # The dot is written by itself; Nagle's algorithm would hold it back for a delayed ACK, 40 ms a message.
            connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.ehlo_or_helo_if_needed()
        self._envelope(connection, _address(parcel.sender), _address(parcel.recipient))
        # RFC 5321, 4.5.2: a leading dot is doubled.
        content = re.sub(rb"(?m)^\.", b"..", parcel.content.removesuffix(b"\r\n")) + b"\r\n"
        if before_dot is None:
            self.phase = Phase.AFTER_DOT
            connection.send(content + b".\r\n")
        else:
            connection.send(content)
            before_dot()
            self.phase = Phase.AFTER_DOT
            connection.send(b".\r\n")
        return self._expect(250, connection.getreply())

    def _envelope(self, connection: smtplib.SMTP, sender: str, recipient: str) -> None:
        """Say who writes to whom, in one go where the server lets us (PIPELINING, RFC 2920)."""
        commands = (f"MAIL FROM:<{sender}>", f"RCPT TO:<{recipient}>", "DATA")
        steps = list(zip((Phase.SENDER, Phase.RECIPIENT, Phase.CONTENT), commands, (250, 25, 354), strict=True))
        if not connection.has_extn("pipelining"):
            for self.phase, command, wanted in steps:
                self._expect(wanted, connection.docmd(command))
            return
        connection.send("".join(f"{command}\r\n" for command in commands).encode("ascii"))
        refusal, replies = None, []
        for self.phase, _command, wanted in steps:
            replies.append(connection.getreply())
            try:
                self._expect(wanted, replies[-1])
            except Refusal as no:
                refusal = refusal or no
        if refusal:
            self._end_unwanted_content(connection, has_reader=replies[1][0] in (250, 251), listens=replies[2][0] == 354)
            self.phase = refusal.phase
            raise refusal

    def _end_unwanted_content(self, connection: smtplib.SMTP, has_reader: bool, listens: bool) -> None:
        """After a refused envelope a server may wait for content all the same (RFC 2920, 3.1).

        A lone dot ends that where nobody is to get it; where somebody would, they would get an empty message.
        """
        if listens and has_reader:
            self.drop()
        elif listens:
            connection.docmd(".")

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
        content = email_message.message().as_bytes(linesep="\r\n")
        for recipient in email_message.recipients():
            self.hand_over(Parcel(email_message.from_email, recipient, content))
        return True


def _address(address: str) -> str:
    """A bare address in ASCII; nothing that could end a command early."""
    bare = parseaddr(sanitize_address(address, "utf-8"))[1] if _UNPLAIN.search(address) else address
    if not bare or _UNPLAIN.search(bare):
        raise ValueError(f"no address mail could go to: {address!r}")
    return bare
