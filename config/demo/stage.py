"""Sets the demonstration up from nothing: data, broker, mailbox, web server and worker, all under one directory."""

from __future__ import annotations

import contextlib
import fcntl
import os
import secrets
import shutil
import socket
import sys
from pathlib import Path

from django.conf import settings
from django.db import connection

from config import embedded
from config.embedded import PortTaken
from config.supervision import PartFailed, Stopped, Supervisor

HOST = "127.0.0.1"
STAFF_NAME = "morgan"
MARK = "a demonstration; wiped and made anew by each run"


class CannotStage(RuntimeError):
    """The demonstration cannot be set up; says why in a line."""


def show(*, port: int, once: bool) -> int:
    """Play the story; then keep the site up unless `once`. The exit status is 0 when every promise was kept."""
    try:
        with contextlib.ExitStack() as held:
            web = held.enter_context(embedded.listening_socket(HOST, port))
            post = held.enter_context(embedded.listening_socket(HOST, 0))
            home = Path(os.environ.get("RIMEBOOK_DEMO", settings.BASE_DIR / ".run" / "demo"))
            _alone(home, held)
            _sweep_stage(home)
            supervisor = held.enter_context(Supervisor(home / "log"))
            return _play(supervisor, home, web, post, once)
    except (PortTaken, PartFailed, CannotStage) as problem:
        sys.stderr.write(f"{problem}\n")
        return 1
    except Stopped as stopped:
        return stopped.status
    except KeyboardInterrupt:
        return 130 if once else 0


def _alone(home: Path, held: contextlib.ExitStack) -> None:
    """Refuse to pull the stage away from under a demonstration that is running, or to write into a shop's database."""
    home.parent.mkdir(parents=True, exist_ok=True)
    lock = held.enter_context(home.with_suffix(".lock").open("w"))
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise CannotStage("Another demonstration is running here; stop it first.") from None
    if os.environ.get("DATABASE_URL") and connection.introspection.table_names():
        raise CannotStage("DATABASE_URL names a database that is not empty; the demonstration only uses an empty one.")


def _sweep_stage(home: Path) -> None:
    """Take away the last demonstration, and nothing that is not one."""
    mark = home / "README"
    if home.exists() and any(home.iterdir()) and not mark.is_file():
        raise CannotStage(f"{home} holds something that is not a demonstration; move it away first.")
    shutil.rmtree(home, ignore_errors=True)
    home.mkdir(parents=True)
    mark.write_text(MARK + "\n")


def _play(supervisor: Supervisor, home: Path, web: socket.socket, post: socket.socket, once: bool) -> int:
    address = f"http://{HOST}:{web.getsockname()[1]}"
    password = secrets.token_urlsafe(9)
    environment = environment_of(home, address, post.getsockname()[1])
    environment["REDIS_URL"] = embedded.broker_url(supervisor, home / "broker")
    manage = [sys.executable, str(settings.BASE_DIR / "manage.py")]
    supervisor.run("migrate", [*manage, "migrate", "--verbosity=0"], environment)
    supervisor.start(embedded.mailbox_part(post, home / "mail", environment))
    supervisor.start(embedded.web_part(web, environment))
    # One process at a time: moments of the story follow each other much faster than they did in life.
    supervisor.start(embedded.worker_part(environment, processes=1))
    login = {"RIMEBOOK_STAFF": STAFF_NAME, "RIMEBOOK_STAFF_PASSWORD": password}
    try:
        supervisor.run("story", [sys.executable, "-m", "config.demo.play"], environment | login, shown=True)
    except PartFailed as failed:
        if failed.name != "story":
            raise
        _say("The demonstration ends here: a promise of the story was not kept.")
        return 1
    if once:
        return 0
    supervisor.start(embedded.beat_part(environment, home / "beat"))
    _say(
        f"\nThe site is up:    {address}/",
        f"Workbench:         {address}/workbench/",
        f"    name {STAFF_NAME}, password {password} (made for this run)",
        f"Mailbox:           {address}/mailbox/",
        "Ctrl-C stops everything.",
    )
    supervisor.watch()
    return 0


def environment_of(home: Path, address: str, smtp_port: int) -> dict[str, str]:
    """What every process of the demonstration is told."""
    told = {name: value for name, value in os.environ.items() if not name.startswith(("EMAIL_", "ANYMAIL_"))}
    return told | {
        "DJANGO_SETTINGS_MODULE": "config.settings.local",
        "PYTHONPATH": str(settings.BASE_DIR),
        "RIMEBOOK_DATA": str(home),
        "RIMEBOOK_ACCEPT_PASSED_NOW": "1",
        "MAILBOX_DIR": str(home / "mail"),
        "EMAIL_HOST": HOST,
        "EMAIL_PORT": str(smtp_port),
        "PUBLIC_URL": address,
        "DATABASE_URL": os.environ.get("DATABASE_URL") or f"sqlite:///{home / 'rimebook.sqlite3'}",
    }


def _say(*lines: str) -> None:
    sys.stdout.write("\n".join(lines) + "\n")
    sys.stdout.flush()
