"""Kills what a supervisor left behind. Run as a script of its own: standard library only, starts at once.

Reads process group numbers from standard input, ``+123`` as a group begins and ``-123`` once it is gone. The
supervisor holds the other end of the pipe; when it dies, even by ``kill -9``, the pipe closes and every group
still listed is asked to stop, then made to.
"""

from __future__ import annotations

import glob
import os
import signal
import sys
import time
from collections.abc import Iterator

GRACE_SECONDS = 8.0


def alive(group: int) -> bool:
    """Tell whether any process of the group still runs; one that only waits to be buried does not."""
    try:
        os.killpg(group, 0)
    except (ProcessLookupError, PermissionError):
        return False
    states = [state for member, state in _processes() if member == group]
    return any(state not in "ZX" for state in states) if states else not os.path.isdir("/proc/self")


def _processes() -> Iterator[tuple[int, str]]:
    """(process group, state letter) of every process, where the system tells (proc(5))."""
    for path in glob.glob("/proc/[0-9]*/stat"):
        try:
            with open(path, "rb") as file:
                fields = file.read().rpartition(b")")[2].split()
        except OSError:
            continue
        yield int(fields[2]), fields[0].decode()


def end(groups: set[int], grace_seconds: float) -> None:
    """Stop every group: politely, then by force after `grace_seconds`."""
    for wanted in (signal.SIGTERM, signal.SIGKILL):
        for group in filter(alive, groups):
            os.killpg(group, wanted)
        deadline = time.monotonic() + grace_seconds
        while any(map(alive, groups)) and time.monotonic() < deadline:
            time.sleep(0.05)


def main() -> None:
    # A signal meant for the supervisor must not take the watchdog first.
    for ignored in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(ignored, signal.SIG_IGN)
    groups: set[int] = set()
    for line in sys.stdin:
        (groups.add if line[0] == "+" else groups.discard)(int(line[1:]))
    end(groups, GRACE_SECONDS)


if __name__ == "__main__":
    main()
