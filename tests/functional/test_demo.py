"""The demonstration as somebody tries it: one command, the whole story, a site that stays up, nothing left behind."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import psycopg
import pytest

from config.demo.client import Refused, Visitor
from config.embedded import listening_socket

ROOT = Path(__file__).resolve().parent.parent.parent
STORY_SECONDS = 600
STOP_SECONDS = 40
PROMISES = [
    r"nothing was sent again",
    r"times as long on the dry-stored summer bike",
    r"nothing sent twice: (\d+) messages, \1 Message-IDs",
    r"nothing lost: every notice handed over is in the mailbox",
]


def _start(home: Path, *arguments: str, **environment: str) -> subprocess.Popen[str]:
    told = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    told |= {"RIMEBOOK_DEMO": str(home), "DJANGO_SETTINGS_MODULE": "config.settings.local"} | environment
    return subprocess.Popen(
        [sys.executable, "manage.py", "demo", *arguments],
        cwd=ROOT,
        env=told,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )


@contextmanager
def _running(home: Path, *arguments: str, **environment: str) -> Iterator[subprocess.Popen[str]]:
    running = _start(home, *arguments, **environment)
    try:
        yield running
    finally:
        if running.poll() is None:
            running.send_signal(signal.SIGTERM)
            running.wait(STOP_SECONDS)


def _read_until(running: subprocess.Popen[str], words: str) -> str:
    """What was printed up to and with a line that has `words`; fails when the command ends before."""
    assert running.stdout is not None
    patience = threading.Timer(STORY_SECONDS, running.kill)
    patience.start()
    said = ""
    for line in running.stdout:
        said += line
        if words in line:
            break
    patience.cancel()
    assert words in said, f"the demonstration never said “{words}”:\n{said}"
    return said


def _processes_in(home: Path) -> list[str]:
    """Command lines of processes that still work on this demonstration's directory."""
    found = []
    for path in Path("/proc").glob("[0-9]*/environ"):
        try:
            if str(home).encode() in path.read_bytes():
                found.append(path.with_name("cmdline").read_bytes().replace(b"\0", b" ").decode())
        except OSError:
            continue
    return found


def _keeps_promises(said: str) -> None:
    for promise in PROMISES:
        assert re.search(promise, said), f"not said: {promise}\n{said}"
    for title in ("Who was booked", "What is due when, and why", "Which messages arrived"):
        assert title in said
    assert "REQUEST" in said and "recall, with invitation" in said


def test_the_story_and_then_a_site_that_stays_up_until_ctrl_c(tmp_path: Path) -> None:
    home = tmp_path / "demo"
    with _running(home, "--port", "0") as running:
        said = _read_until(running, "Ctrl-C stops everything")
        _keeps_promises(said)
        address = re.search(r"The site is up: +(\S+)", said)
        login = re.search(r"name (\S+), password (\S+)", said)
        assert address and login
        visitor = Visitor(address[1], datetime.now(UTC))  # noqa: TID251
        _looks_lived_in(visitor, login[1], login[2])
        assert len(_processes_in(home)) > 5
        with pytest.raises(subprocess.TimeoutExpired):
            running.wait(1)
        _refuses_a_second_one(home)
        running.send_signal(signal.SIGINT)
        assert running.wait(STOP_SECONDS) == 0
    assert _processes_in(home) == []


def _looks_lived_in(visitor: Visitor, name: str, password: str) -> None:
    assert "Full treatment" in visitor.get("/").text
    with pytest.raises(Refused):
        page = visitor.get("/workbench/")
        visitor.submit(page.form("username"), {"username": name, "password": "not this one"})
    page = visitor.get("/workbench/")
    page = visitor.submit(page.form("username"), {"username": name, "password": password})
    assert urlsplit(page.url).path == "/workbench/"
    assert len([link for _, link in page.links if "/workbench/visits/" in link]) >= 4, "today's bench has bikes"
    assert "QZ19 KMR" in visitor.get("/workbench/calls/?q=900017").text
    box = visitor.get("/mailbox/")
    assert len([link for _, link in box.links if "/mailbox/" in link]) > 200
    assert "recall, with invitation" in box.text


def _refuses_a_second_one(home: Path) -> None:
    with _running(home, "--once", "--port", "0") as second:
        said, _ = second.communicate(timeout=60)
    assert second.returncode == 1
    assert said.strip() == "Another demonstration is running here; stop it first."


@pytest.mark.engine
def test_the_same_story_on_an_external_database_and_broker(tmp_path: Path) -> None:
    server, broker = os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")
    if not server.startswith("postgres") or not broker:
        pytest.skip("runs in the run on PostgreSQL and an external Redis")
    name = f"demo_{uuid4().hex}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        url = server.rpartition("/")[0] + f"/{name}"
        # A smaller shop: what is in question here is the engine.
        told = {"DATABASE_URL": url, "REDIS_URL": broker.rpartition("/")[0] + "/1", "RIMEBOOK_DEMO_BIKES": "16"}
        with _running(tmp_path / "demo", "--once", "--port", "0", **told) as running:
            said, _ = running.communicate(timeout=STORY_SECONDS)
            assert running.returncode == 0, said
            _keeps_promises(said)
        with _running(tmp_path / "demo", "--once", "--port", "0", **told) as again:
            refused, _ = again.communicate(timeout=60)
        assert again.returncode == 1 and "not empty" in refused
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_a_taken_port_is_said_in_one_line(tmp_path: Path) -> None:
    with listening_socket("127.0.0.1", 0) as holder:
        port = str(holder.getsockname()[1])
        with _running(tmp_path / "demo", "--once", "--port", port) as running:
            said, _ = running.communicate(timeout=60)
    assert running.returncode == 1
    assert port in said and len(said.splitlines()) == 1
    assert not (tmp_path / "demo").exists()


@pytest.mark.parametrize("port", ["-1", "65536"])
def test_a_port_that_is_none(tmp_path: Path, port: str) -> None:
    with _running(tmp_path / "demo", "--once", f"--port={port}") as running:
        said, _ = running.communicate(timeout=60)
    assert running.returncode == 1 and "A port is a number" in said


def test_somebody_elses_directory_is_not_wiped(tmp_path: Path) -> None:
    home = tmp_path / "demo"
    home.mkdir()
    (home / "diary.txt").write_text("mine")
    with _running(home, "--once", "--port", "0") as running:
        said, _ = running.communicate(timeout=60)
    assert running.returncode == 1 and "move it away" in said
    assert (home / "diary.txt").read_text() == "mine"
