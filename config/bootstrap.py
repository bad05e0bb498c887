"""Build the virtual environment from the hashed lock and run this command inside it.

Standard library only: this module runs on a bare interpreter, before anything is installed.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
MINIMUM = (3, 11)
# `test` needs everything the shop needs and more, so its lock is a superset with the same pins.
LOCKS = {"runtime": ROOT / "config/requirements.txt", "test": ROOT / "config/requirements-test.txt"}
TEST_COMMANDS = {"test"}


def enter(argv: list[str]) -> None:
    """Return when running inside an environment that fits the lock; else build it and re-execute."""
    if sys.version_info < MINIMUM:
        sys.exit(f"Rimebook needs Python {MINIMUM[0]}.{MINIMUM[1]} or newer; this is {sys.version.split()[0]}.")
    wanted = "test" if len(argv) > 1 and argv[1] in TEST_COMMANDS else "runtime"
    if os.environ.get("RIMEBOOK_ENVIRONMENT") == "own":
        return  # a container or a packager brought the dependencies; nothing to build
    if not _fits(wanted):
        _build(wanted)
    if Path(sys.prefix).resolve() != VENV.resolve():
        python = str(VENV / "bin" / "python")
        os.execv(python, [python, *argv])


def _digest(lock: Path) -> str:
    return hashlib.sha256(lock.read_bytes()).hexdigest()


def _fits(wanted: str) -> bool:
    """Tell whether the environment was completed for this lock, or for the larger one."""
    for name in {wanted, "test"}:
        stamp = VENV / f"complete-{name}"
        if stamp.is_file() and stamp.read_text() == _digest(LOCKS[name]):
            return True
    return False


def _build(wanted: str) -> None:
    lock = LOCKS[wanted]
    print(f"Setting up Rimebook's environment in {VENV.name} (once; a few minutes) …", file=sys.stderr, flush=True)
    if not (VENV / "bin" / "python").exists():
        _run([sys.executable, "-m", "venv", str(VENV)], "Debian has it in the package python3-venv")
    pip = [str(VENV / "bin" / "python"), "-m", "pip", "--disable-pip-version-check", "install", "-qq"]
    _run([*pip, "--require-hashes", "-r", str(lock)], "the package index could not be reached, or a hash differed")
    # Written last, so that an interrupted installation is taken up again instead of trusted.
    (VENV / f"complete-{wanted}").write_text(_digest(lock))


def _run(command: list[str], hint: str) -> None:
    # Everything goes to stderr: commands with a JSON contract keep stdout for their one document.
    if subprocess.run(command, stdout=sys.stderr, check=False).returncode:
        sys.exit(f"Setting up failed ({hint}). Run the same command again once that is mended.")
