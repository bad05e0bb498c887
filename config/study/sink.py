"""A mail server that remembers what it took and misbehaves to order: ``python -m config.study.sink FD CONTROL_FD``.

FD is an inherited, listening socket; over CONTROL_FD come orders and questions, one JSON document to a line. What was
taken lies in memory alone: both sides of a bench are served the same way, and no disk is timed.
"""

from __future__ import annotations

import asyncio
import json
import re
import socket
import sys
from dataclasses import dataclass, field
from hashlib import blake2b
from random import Random
from typing import Any

from aiosmtpd.smtp import SMTP, Envelope, Session

LARGEST_MESSAGE_BYTES = 30_000_000
MESSAGE_ID = re.compile(rb"^Message-ID:\s*(\S+)", re.IGNORECASE | re.MULTILINE)
REFUSALS = {
    "closing": "421 4.3.2 closing",
    "nobody": "550 5.7.1 nobody from there today",
    "later": "451 4.3.0 come back later",
    "late": "452 4.3.1 no room just now",
}
DEAD = "550 5.1.1 no such mailbox"
DEAD_DOMAIN = "@dead.example.org"


@dataclass
class Taken:
    """One message this server has answered for, or would have, had the connection lasted."""

    message_id: str
    digest: str
    recipient: str
    said: str


@dataclass
class Sink:
    """aiosmtpd's handler. `mischief` holds shares from 0 to 1, for each time the occasion comes:

    closing (421) and nobody (550) at MAIL, later (451) and mute at RCPT, late (452) at DATA; lose closes the connection
    after the last dot without having taken the message, drop and hang have taken it and never say so. One message is
    lost once at most: what is twice in doubt waits for staff, which other tests show.
    """

    taken: list[Taken] = field(default_factory=list)
    mischief: dict[str, float] = field(default_factory=dict)
    hang_seconds: float = 30.0
    # The answer to the last dot takes up to this long; the message is taken at once.
    slow_seconds: float = 0.0
    chance: Random = field(default_factory=Random)
    counts: dict[str, int] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)
    # Of everything taken, in whatever order: equal sums, equal messages.
    total: int = 0

    async def handle_EHLO(
        self, server: SMTP, session: Session, envelope: Envelope, hostname: str, responses: list[str]
    ) -> list[str]:
        """Offers PIPELINING, as servers in the world do."""
        session.host_name = hostname
        return [*responses[:-1], "250-PIPELINING", responses[-1]]

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        for way in ("closing", "nobody"):
            if self._strikes(way):
                return REFUSALS[way]
        envelope.mail_from = address
        return "250 2.1.0 go on"

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if address.endswith(DEAD_DOMAIN):
            return DEAD
        if self._strikes("later"):
            return REFUSALS["later"]
        if self._strikes("mute"):
            await asyncio.sleep(self.hang_seconds)
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 go on"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        if self._strikes("late"):
            return REFUSALS["late"]
        content = envelope.content if isinstance(envelope.content, bytes) else b""
        found = MESSAGE_ID.search(content)
        message_id = found[1].decode() if found else ""
        if message_id not in self.lost and self._strikes("lose"):
            self.lost.add(message_id)
            self._hang_up(server)
            return ""
        said = next((way for way in ("drop", "hang") if self._strikes(way)), "taken")
        self.taken.append(
            Taken(
                message_id,
                blake2b(content, digest_size=12).hexdigest(),
                envelope.rcpt_tos[0],
                said,
            )
        )
        self.total += int(self.taken[-1].digest, 16)
        if said == "hang":
            await asyncio.sleep(self.hang_seconds)
        if self.slow_seconds:
            await asyncio.sleep(self.chance.random() * self.slow_seconds)
        if said != "taken":
            self._hang_up(server)
        return f"250 2.0.0 kept as {len(self.taken)}"

    @staticmethod
    def _hang_up(server: SMTP) -> None:
        if isinstance(server.transport, asyncio.WriteTransport):
            server.transport.abort()

    def _strikes(self, way: str) -> bool:
        strikes = bool(self.mischief) and self.chance.random() < self.mischief.get(way, 0.0)
        if strikes:
            self.counts[way] = self.counts.get(way, 0) + 1
        return strikes

    def answer(self, order: dict[str, Any]) -> dict[str, Any]:
        """Carry one order out and say what is so."""
        if "mischief" in order:
            self.mischief = order["mischief"]
        if "hang_seconds" in order:
            self.hang_seconds = order["hang_seconds"]
        if "slow_seconds" in order:
            self.slow_seconds = order["slow_seconds"]
        if "seed" in order:
            self.chance = Random(order["seed"])
        if order.get("forget"):
            self.taken.clear()
            self.total = 0
        answer: dict[str, Any] = {"count": len(self.taken), "sum": f"{self.total:x}", "struck": self.counts}
        if order.get("list"):
            answer["taken"] = [[each.message_id, each.digest, each.recipient, each.said] for each in self.taken]
        return answer


async def serve(listener: socket.socket, control: socket.socket) -> None:
    """Serve until whoever gives orders is gone."""
    sink = Sink()
    loop = asyncio.get_running_loop()

    def protocol() -> Any:
        return SMTP(sink, data_size_limit=LARGEST_MESSAGE_BYTES, hostname="sink.example.org", loop=loop)

    server = await loop.create_server(protocol, sock=listener)
    reader, writer = await asyncio.open_connection(sock=control)
    while line := await reader.readline():
        writer.write(json.dumps(sink.answer(json.loads(line))).encode() + b"\n")
        await writer.drain()
    server.close()


if __name__ == "__main__":
    asyncio.run(serve(*(socket.socket(fileno=int(word)) for word in sys.argv[1:3])))
