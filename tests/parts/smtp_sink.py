"""An SMTP server that keeps what it accepts and misbehaves on request."""

from __future__ import annotations

import asyncio
import email
import email.policy
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import EmailMessage
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from pytest_django import Settings

OK = "250 2.0.0 kept"


@dataclass
class Received:
    """One message as it came over the wire."""

    sender: str
    recipients: list[str]
    content: bytes

    @property
    def message(self) -> EmailMessage:
        """The message parsed."""
        parsed = email.message_from_bytes(self.content, policy=email.policy.default)
        assert isinstance(parsed, EmailMessage)
        return parsed


@dataclass
class SmtpSink:
    """Accepts everything until told otherwise; `messages` holds what a receiver would have got.

    Orders hold until the next `accept()`. A dropped or hanging connection after the data has taken the message
    in: the sender cannot know.
    """

    host: str = "127.0.0.1"
    port: int = 0
    messages: list[Received] = field(default_factory=list)
    conversations: int = 0
    pipelines: bool = False
    _replies: dict[str, str] = field(default_factory=dict)
    _drops: set[str] = field(default_factory=set)
    _hang_seconds: dict[str, float] = field(default_factory=dict)
    _release: threading.Event = field(default_factory=threading.Event)

    def accept(self) -> None:
        """Take everything, as from the start; let go of connections that hang."""
        self._replies.clear()
        self._drops.clear()
        self._hang_seconds.clear()
        self._release.set()

    def refuse(self, phase: str, reply: str) -> None:
        """Answer `reply`, such as ``451 4.3.0 later``, to each `phase`: mail, rcpt or data."""
        self._replies[phase] = reply

    def drop(self, phase: str = "data") -> None:
        """Close the connection at `phase`; at data only after the message was taken in."""
        self._drops.add(phase)

    def hang(self, seconds: float = 60.0, phase: str = "data") -> None:
        """Stay silent at `phase`; at data only after the message was taken in."""
        self._release.clear()
        self._hang_seconds[phase] = seconds

    def wait_for(self, count: int, seconds: float = 15.0) -> list[Received]:
        """The messages once there are `count` of them; fails when they do not come."""
        deadline = time.monotonic() + seconds
        while len(self.messages) < count and time.monotonic() < deadline:
            time.sleep(0.02)
        assert len(self.messages) >= count, f"{len(self.messages)} of {count} messages came within {seconds} s"
        return self.messages

    # What aiosmtpd calls, in the order of a conversation.

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ) -> list[str]:
        session.host_name = hostname
        self.conversations += 1
        return [*responses[:-1], "250-PIPELINING", responses[-1]] if self.pipelines else responses

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        envelope.mail_from = address
        return await self._answer(server, "mail")

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        answer = await self._answer(server, "rcpt")
        if answer.startswith("2"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if "data" not in self._replies:
            content = envelope.content if isinstance(envelope.content, bytes) else b""
            self.messages.append(Received(envelope.mail_from or "", list(envelope.rcpt_tos), content))
        return await self._answer(server, "data")

    async def _answer(self, server: SMTP, phase: str) -> str:
        if phase in self._hang_seconds:
            deadline = time.monotonic() + self._hang_seconds[phase]
            while time.monotonic() < deadline and not self._release.is_set():
                await asyncio.sleep(0.02)
        if phase in self._drops and isinstance(server.transport, asyncio.WriteTransport):
            server.transport.abort()
        return self._replies.get(phase, OK)


class _OnAnyPort(Controller):
    """aiosmtpd's controller connects to the port it was given; with 0 that is known only after binding."""

    def _trigger_server(self) -> None:
        assert isinstance(self.server, asyncio.Server)
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@pytest.fixture
def smtp_sink(settings: Settings) -> Iterator[SmtpSink]:
    """A running sink; Django in this process and workers started by `worker` send to it over real SMTP."""
    sink = SmtpSink()
    controller: Any = _OnAnyPort(sink, hostname=sink.host, port=0, data_size_limit=30_000_000)
    controller.start()
    sink.port = controller.port
    sink.conversations = 0
    settings.EMAIL_HOST = sink.host
    settings.EMAIL_PORT = sink.port
    # Django's test runner swaps the backend for one that keeps mail in memory; here it really goes out.
    settings.EMAIL_BACKEND = "reminders.mailer.PhasedSmtpBackend"
    try:
        yield sink
    finally:
        sink.accept()
        controller.stop()
