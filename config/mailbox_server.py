"""An SMTP server that files what it is sent in a Maildir: ``python -m config.mailbox_server FD DIRECTORY``.

FD is the number of an inherited, listening socket. A message is acknowledged only once it lies on the disk.
"""

from __future__ import annotations

import asyncio
import mailbox
import signal
import socket
import sys
from typing import Any

from aiosmtpd.smtp import SMTP, Envelope, Session

LARGEST_MESSAGE_BYTES = 30_000_000


class Filing:
    """aiosmtpd's handler: one file per message, the envelope kept in headers of our own."""

    def __init__(self, directory: str) -> None:
        self.box = mailbox.Maildir(directory)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        """File the message, then say so."""
        recipients = ", ".join(envelope.rcpt_tos)
        head = f"X-Envelope-From: {envelope.mail_from}\r\nX-Envelope-To: {recipients}\r\n".encode()
        content = envelope.content if isinstance(envelope.content, bytes) else b""
        key = self.box.add(head + content)
        return f"250 2.0.0 kept as {key}"


async def serve(listener: socket.socket, directory: str) -> None:
    """Serve until a signal to stop comes."""
    loop = asyncio.get_running_loop()
    stop = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    handler = Filing(directory)

    def protocol() -> Any:
        return SMTP(handler, data_size_limit=LARGEST_MESSAGE_BYTES, hostname="mailbox.example.org", loop=loop)

    server = await loop.create_server(protocol, sock=listener)
    await stop.wait()
    server.close()


if __name__ == "__main__":
    asyncio.run(serve(socket.socket(fileno=int(sys.argv[1])), sys.argv[2]))
