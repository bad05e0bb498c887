"""Brings the throw-away installation up and takes it away again; a shop's own database, broker and mail stay apart."""

from __future__ import annotations

import json
import os
import secrets
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from celery import Celery
from django.conf import settings
from django.db import connection

from config import embedded
from config.supervision import Part, Supervisor

HOST = "127.0.0.1"


class SinkOrders:
    """The other end of the sink's control."""

    def __init__(self, control: socket.socket) -> None:
        self._file = control.makefile("rwb")

    def tell(self, **order: Any) -> dict[str, Any]:
        """Give an order, or none, and get what is so: at least how many messages were taken."""
        self._file.write(json.dumps(order).encode() + b"\n")
        self._file.flush()
        answer: dict[str, Any] = json.loads(self._file.readline())
        return answer


class Installation:
    """One database, one broker, one sink; workers and beats are started and killed as a study asks."""

    def __init__(self, home: Path, supervisor: Supervisor, settings_module: str, **extra: str) -> None:
        self.home, self.supervisor = home, supervisor
        self.port, self.sink = self._start_sink()
        self.broker_socket = home / "broker.sock"
        self.start_broker()
        self.broker = f"redis+socket://{self.broker_socket}?virtual_host=0"
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("EMAIL_", "ANYMAIL_"))}
        self.environment = kept | {
            "DJANGO_SETTINGS_MODULE": settings_module,
            "PYTHONPATH": str(settings.BASE_DIR),
            "RIMEBOOK_ACCEPT_PASSED_NOW": "1",
            "SECRET_KEY": settings.SECRET_KEY,
            "DATABASE_URL": database_url(),
            "REDIS_URL": self.broker,
            "EMAIL_HOST": HOST,
            "EMAIL_PORT": str(self.port),
            **extra,
        }
        self.app = Celery(broker=self.broker, set_as_current=False)

    def start_broker(self) -> None:
        """A broker nobody else uses."""
        self.supervisor.start(embedded.broker_part(self.broker_socket, self.home / "broker"))

    def start_worker(self, name: str, waits: bool = True) -> None:
        """A real Celery worker of one process; returns once it answers, or at once."""
        part = embedded.worker_part(self.environment, name, 1)
        self.supervisor.start(part if waits else replace(part, ready=lambda: True))

    def start_beat(self, name: str) -> None:
        """A real Celery beat."""
        part = embedded.beat_part(self.environment, self.home / name)
        self.supervisor.start(replace(part, name=name, ready=lambda: True))

    def wake(self, task: str, now: str | None = None) -> None:
        """Let a worker run a task, with the moment passed or its own."""
        self.app.send_task(task, kwargs={"now": now} if now else {}, retry=False)

    def _start_sink(self) -> tuple[int, SinkOrders]:
        listener = embedded.listening_socket(HOST, 0)
        ours, theirs = socket.socketpair()
        command = [sys.executable, "-m", "config.study.sink", str(listener.fileno()), str(theirs.fileno())]
        environment = {**os.environ, "PYTHONPATH": str(settings.BASE_DIR)}
        fds = (listener.fileno(), theirs.fileno())
        address = listener.getsockname()
        ready: Callable[[], bool] = lambda: _greets(address)  # noqa: E731
        self.supervisor.start(Part("sink", command, ready=ready, environment=environment, pass_fds=fds))
        theirs.close()
        listener.close()
        return int(address[1]), SinkOrders(ours)


@contextmanager
def installation(settings_module: str, **extra: str) -> Iterator[Installation]:
    """A migrated, empty installation; nothing of it is left afterwards."""
    with tempfile.TemporaryDirectory(prefix="rimebook-study-", ignore_cleanup_errors=True) as directory:
        home = Path(directory)
        with _database(home), Supervisor(home / "log") as supervisor:
            yield Installation(home, supervisor, settings_module, **extra)


@contextmanager
def _database(home: Path) -> Iterator[None]:
    """A new database beside the configured one: Django's own way to a test database, so the real one is not touched."""
    facts = connection.settings_dict
    own_name = facts["NAME"]
    is_file = connection.vendor == "sqlite"
    name = str(home / "study.sqlite3") if is_file else f"rimebook_study_{secrets.token_hex(4)}"
    facts["TEST"]["NAME"] = name
    connection.creation.create_test_db(verbosity=0, autoclobber=False, serialize=False)
    try:
        yield
    finally:
        connection.creation.destroy_test_db(str(own_name), verbosity=0)
        facts["TEST"]["NAME"] = None


def database_url() -> str:
    """The URL of the database in use, for processes of their own."""
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{facts['NAME']}"
    login = facts["USER"] + (f":{facts['PASSWORD']}" if facts["PASSWORD"] else "")
    return f"postgres://{login}@{facts['HOST']}:{facts['PORT']}/{facts['NAME']}"


def _greets(address: tuple[str, int]) -> bool:
    try:
        with socket.create_connection(address, timeout=1) as connected:
            return connected.recv(3) == b"220"
    except OSError:
        return False
