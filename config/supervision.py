"""Starts the parts of an installation as child processes, waits until each is really ready, and leaves none behind.

Every part gets a session of its own, so that Ctrl-C reaches only the supervisor, which then stops the parts in
the reverse of the order in which they were started. A watchdog does the same should the supervisor be killed.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType, TracebackType
from typing import IO

TAIL_LINES = 15
STOPPING_SIGNALS = (signal.SIGTERM, signal.SIGHUP)


@dataclass(frozen=True)
class Part:
    """One child process. `ready` is asked until it says yes, for `patience_seconds` at most."""

    name: str
    command: list[str]
    ready: Callable[[], bool]
    environment: Mapping[str, str] = field(default_factory=lambda: dict(os.environ))
    patience_seconds: float = 30.0
    grace_seconds: float = 10.0
    stop_signal: signal.Signals = signal.SIGTERM
    pass_fds: tuple[int, ...] = ()
    user: str | None = None


class PartFailed(RuntimeError):
    """A part ended or did not get ready; the message carries the end of what it said."""

    def __init__(self, name: str, what: str, log: Path) -> None:
        self.name = name
        tail = log.read_text(errors="replace").splitlines()[-TAIL_LINES:] if log.is_file() else []
        super().__init__("\n".join([f"{name} {what}. The end of its log:", *(f"    {line}" for line in tail)]))


class Stopped(KeyboardInterrupt):
    """Asked to stop by a signal other than Ctrl-C; `status` is what a shell expects of a process that ends by it."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.status = 128 + number
        super().__init__(number)


class Supervisor:
    """Keeps the running parts; a context manager that stops them all however the block is left."""

    def __init__(self, log_directory: Path) -> None:
        log_directory.mkdir(parents=True, exist_ok=True)
        self.log_directory = log_directory
        self._running: list[tuple[Part, subprocess.Popen[bytes]]] = []
        self._afterwards = contextlib.ExitStack()
        self._watchdog: subprocess.Popen[bytes] | None = None
        self._handlers: dict[signal.Signals, object] = {}

    def __enter__(self) -> Supervisor:
        with contextlib.suppress(ValueError):  # outside the main thread signals are somebody else's business
            # A shell starts background jobs deaf to Ctrl-C; whoever sends it all the same means it.
            self._handlers[signal.SIGINT] = signal.signal(signal.SIGINT, signal.default_int_handler)
            for number in STOPPING_SIGNALS:
                if signal.getsignal(number) is not signal.SIG_IGN:  # nohup stays nohup
                    self._handlers[number] = signal.signal(number, _raise_stopped)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.stop()
        for number, handler in self._handlers.items():
            signal.signal(number, handler)  # type: ignore[arg-type]

    def afterwards(self, callback: Callable[..., object], *arguments: object) -> None:
        """Call this once every part has stopped; the last one registered comes first."""
        self._afterwards.callback(callback, *arguments)

    def log_of(self, name: str) -> Path:
        """Where a part's output goes."""
        return self.log_directory / f"{name.replace(' ', '-')}.log"

    def start(self, part: Part) -> None:
        """Start a part and return once it is ready; raise PartFailed when it is not."""
        with self.log_of(part.name).open("ab") as log:
            process = _launch(part, log)
        self._tell_watchdog(f"+{process.pid}")
        self._running.append((part, process))
        deadline = time.monotonic() + part.patience_seconds
        while not part.ready():
            if process.poll() is not None:
                raise PartFailed(part.name, f"ended at once with status {process.returncode}", self.log_of(part.name))
            if time.monotonic() > deadline:
                waited = f"was not ready after {part.patience_seconds:.0f} seconds"
                raise PartFailed(part.name, waited, self.log_of(part.name))
            time.sleep(0.05)

    def run(self, name: str, command: list[str], environment: Mapping[str, str], shown: bool = False) -> None:
        """Run one command to its end; raise PartFailed unless it succeeds. `shown` gives it the terminal."""
        part = Part(name, command, ready=lambda: True, environment=environment)
        with self.log_of(name).open("ab") as log:
            process = _launch(part, None if shown else log)
        self._tell_watchdog(f"+{process.pid}")
        self._running.append((part, process))
        while process.poll() is None:
            self._check_others(name)
            time.sleep(0.05)
        self._forget(part, process)
        if process.returncode:
            raise PartFailed(name, f"ended with status {process.returncode}", self.log_of(name))

    def watch(self) -> None:
        """Stay until a signal comes; raise PartFailed when a part ends by itself."""
        while True:
            self._check_others(None)
            time.sleep(0.2)

    def process_of(self, name: str) -> subprocess.Popen[bytes]:
        """The process of a running part."""
        return next(process for part, process in self._running if part.name == name)

    def stop(self, name: str | None = None) -> None:
        """Stop the named part, or all in reverse order of starting; what does not go in time is killed."""
        with _deaf_to_signals():
            for part, process in reversed(self._running.copy()):
                if name in (None, part.name):
                    _stop(part, process)
                    self._forget(part, process)
            if name is None:
                if self._watchdog and self._watchdog.stdin:
                    self._watchdog.stdin.close()
                    self._watchdog.wait()
                    self._watchdog = None
                self._afterwards.close()

    def _check_others(self, busy: str | None) -> None:
        for part, process in self._running:
            if part.name != busy and process.poll() is not None:
                raise PartFailed(part.name, f"ended by itself with status {process.returncode}", self.log_of(part.name))

    def _forget(self, part: Part, process: subprocess.Popen[bytes]) -> None:
        self._running.remove((part, process))
        self._tell_watchdog(f"-{process.pid}")

    def _tell_watchdog(self, line: str) -> None:
        if self._watchdog is None:
            script = str(Path(__file__).with_name("watchdog.py"))
            self._watchdog = subprocess.Popen(
                [sys.executable, "-I", "-S", script], stdin=subprocess.PIPE, start_new_session=True
            )
        assert self._watchdog.stdin is not None
        with contextlib.suppress(BrokenPipeError):
            self._watchdog.stdin.write(f"{line}\n".encode())
            self._watchdog.stdin.flush()


def _launch(part: Part, log: IO[bytes] | None) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        part.command,
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=subprocess.STDOUT if log else None,
        env=dict(part.environment),
        pass_fds=part.pass_fds,
        start_new_session=True,
        user=part.user,
        group=part.user,
        extra_groups=[] if part.user else None,
    )


def _stop(part: Part, process: subprocess.Popen[bytes]) -> None:
    """Ask the leader, which knows how to stop its own; then kill whatever is left of its group."""
    if process.poll() is None:
        process.send_signal(part.stop_signal)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(part.grace_seconds)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@contextlib.contextmanager
def _deaf_to_signals() -> Iterator[None]:
    """Let a second Ctrl-C not interrupt the stopping itself; it ends by itself within the grace time."""
    try:
        previous = {number: signal.signal(number, signal.SIG_IGN) for number in (signal.SIGINT, *STOPPING_SIGNALS)}
    except ValueError:
        previous = {}
    try:
        yield
    finally:
        for number, handler in previous.items():
            signal.signal(number, handler)


def _raise_stopped(number: int, frame: FrameType | None) -> None:
    raise Stopped(number)
