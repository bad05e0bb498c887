"""What `manage.py test` needs before pytest can speak: Debian's packages, a throw-away PostgreSQL and a Redis.

pytest runs twice: first every database test on PostgreSQL with an external Redis, then the whole suite on SQLite
with the embedded broker, as a shop on one machine runs it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from config.embedded import answers_ping
from config.supervision import Part, PartFailed, Stopped, Supervisor

ROOT = Path(__file__).resolve().parent.parent
POLICY = Path("/usr/sbin/policy-rc.d")
POSTGRES_USER = "postgres"  # the server refuses to run as root; Debian's package makes this account
NO_TESTS_COLLECTED = 5
PATIENCE_SECONDS = 30


@dataclass(frozen=True)
class Need:
    """A Debian package and the programs any one of which shows that it is there."""

    package: str
    programs: tuple[str, ...]
    what_for: str

    def missing(self) -> bool:
        """Tell whether none of the programs is to be found."""
        return not any(shutil.which(program, path=_search_path()) for program in self.programs)


NEEDS = (
    Need("postgresql", ("initdb",), "the second database engine"),
    Need("redis-server", ("redis-server", "valkey-server"), "an external broker"),
    Need("chromium", ("chromium",), "tests in a browser"),
)


class CannotPrepare(RuntimeError):
    """Something the tests need is missing and cannot be brought."""


def main(arguments: list[str]) -> int:
    """Prepare, run pytest on both engines with `arguments`; the exit status is 0 only when both runs pass."""
    began = time.monotonic()
    try:
        bring_packages([need for need in NEEDS if need.missing()])
        scratch = Path(tempfile.mkdtemp(prefix="rimebook-test-"))
        # Entered by the database's own account too, which owns nothing but its own directory below.
        scratch.chmod(0o711)
        with Supervisor(scratch / "log") as supervisor:
            supervisor.afterwards(shutil.rmtree, scratch, True)
            return _both_runs(supervisor, scratch, arguments, began)
    except (CannotPrepare, PartFailed) as problem:
        sys.stderr.write(f"{problem}\n")
        return 1
    except Stopped as stopped:
        return stopped.status
    except KeyboardInterrupt:
        return 130


def _both_runs(supervisor: Supervisor, scratch: Path, arguments: list[str], began: float) -> int:
    _headline("Preparing PostgreSQL and Redis")
    outside = {"DATABASE_URL": start_postgres(supervisor, scratch), "REDIS_URL": start_redis(supervisor, scratch)}
    first = _pytest("Database tests on PostgreSQL, external Redis", arguments, scratch, outside | _only_database())
    # A selection by name may well hold no database test; the whole run below then tells whether it holds any test.
    failed_first = first not in (0, NO_TESTS_COLLECTED)
    minutes, seconds = divmod(round(time.monotonic() - began), 60)
    verdict = "FAILED (see above)" if failed_first else "passed"
    heading = f"Whole suite on SQLite, embedded broker. So far {minutes} min {seconds} s; PostgreSQL run {verdict}"
    second = _pytest(heading, arguments, scratch, {})
    return second or (first if failed_first else 0)


def _only_database() -> dict[str, str]:
    return {"RIMEBOOK_TESTS": "database"}


def _pytest(heading: str, arguments: list[str], scratch: Path, extra: dict[str, str]) -> int:
    _headline(heading)
    environment = {name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")}
    environment |= {
        "DJANGO_SETTINGS_MODULE": "config.settings.test",
        "RIMEBOOK_DATA": str(scratch / "data"),
        **extra,
    }
    # In this process group on purpose: Ctrl-C reaches pytest at once, and its summary still comes.
    with subprocess.Popen([sys.executable, "-m", "pytest", *arguments], cwd=ROOT, env=environment) as running:
        try:
            return running.wait()
        except KeyboardInterrupt as stop:
            if isinstance(stop, Stopped):
                running.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                running.wait(PATIENCE_SECONDS)
            raise
        finally:
            if running.poll() is None:
                running.kill()


def _headline(words: str) -> None:
    sys.stdout.write(f"\n=== {words} ===\n")
    sys.stdout.flush()


def bring_packages(missing: list[Need]) -> None:
    """Install what is missing from Debian's packages; raise CannotPrepare where that cannot be done."""
    if not missing:
        return
    names = [need.package for need in missing]
    told = "; ".join(f"{need.package} ({need.what_for})" for need in missing)
    if os.geteuid() != 0 or not shutil.which("apt-get"):
        raise CannotPrepare(
            f"The tests need Debian packages that are not installed: {told}.\n"
            f"As root: apt-get install --no-install-recommends {' '.join(names)}"
        )
    _headline(f"Installing Debian packages: {told}")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    with _no_services():
        for command in (["update"], ["install", "--yes", "--no-install-recommends", *names]):
            done = subprocess.run(
                ["apt-get", "--quiet=2", *command],
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                check=False,
            )
            if done.returncode:
                tail = "\n".join(f"    {line}" for line in done.stdout.splitlines()[-15:])
                raise CannotPrepare(f"apt-get {command[0]} failed:\n{tail}")
    if still := [need.package for need in missing if need.missing()]:
        raise CannotPrepare(f"Installed, but their programs are not to be found: {', '.join(still)}")


@contextlib.contextmanager
def _no_services() -> Iterator[None]:
    """Keep the packages from starting servers of their own: Debian asks this file, status 101 says no."""
    if POLICY.exists():
        yield
        return
    POLICY.write_text("#!/bin/sh\nexit 101\n")
    POLICY.chmod(0o755)
    try:
        yield
    finally:
        POLICY.unlink(missing_ok=True)


def _search_path() -> str:
    """PATH, and before it the newest PostgreSQL, whose server programs Debian keeps off PATH."""
    versions = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name), reverse=True)
    return os.pathsep.join([*map(str, versions), os.environ.get("PATH", os.defpath)])


def start_postgres(supervisor: Supervisor, scratch: Path) -> str:
    """A new, empty cluster on a free loopback port; its URL. Nothing of it outlives the run."""
    home = scratch / "postgresql"
    home.mkdir(mode=0o700)
    user = POSTGRES_USER if os.geteuid() == 0 else None
    if user:
        shutil.chown(home, user)
    initdb, server = (shutil.which(program, path=_search_path()) for program in ("initdb", "postgres"))
    if initdb is None or server is None:
        raise CannotPrepare("PostgreSQL's server programs initdb and postgres are not to be found")
    create = [initdb, "--pgdata", str(home / "data"), "--username=rimebook", "--auth=trust", "--no-sync"]
    made = subprocess.run(
        [*create, "--encoding=UTF8", "--locale=C"],
        user=user,
        group=user,
        extra_groups=[] if user else None,
        cwd=home,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if made.returncode:
        raise CannotPrepare(f"initdb failed:\n{made.stdout}")
    port = free_port()
    # Durability is for data somebody wants to keep.
    quick = {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off", "max_connections": "60"}
    placed = {"listen_addresses": "127.0.0.1", "port": str(port), "unix_socket_directories": str(home)}
    options = [word for name, value in (quick | placed).items() for word in ("-c", f"{name}={value}")]
    supervisor.start(
        Part(
            "postgresql",
            [server, "-D", str(home / "data"), *options],
            ready=lambda: _accepts_login(port),
            stop_signal=signal.SIGINT,  # "fast": does not wait for connections to end by themselves
            user=user,
        )
    )
    return f"postgres://rimebook@127.0.0.1:{port}/postgres"


def _accepts_login(port: int) -> bool:
    import psycopg

    try:
        psycopg.connect(host="127.0.0.1", port=port, user="rimebook", dbname="postgres", connect_timeout=2).close()
    except psycopg.OperationalError:
        return False
    return True


def start_redis(supervisor: Supervisor, scratch: Path) -> str:
    """A Redis as a shop would run it apart, on a loopback port; its URL."""
    program = shutil.which("redis-server") or shutil.which("valkey-server")
    if program is None:
        raise CannotPrepare("redis-server is not to be found")
    port = free_port()
    home = scratch / "redis"
    home.mkdir(mode=0o700)
    command = [program, "--bind", "127.0.0.1", "--port", str(port), "--dir", str(home), "--save", ""]
    supervisor.start(Part("redis", command, ready=lambda: answers_ping(("127.0.0.1", port))))
    return f"redis://127.0.0.1:{port}/0"


def free_port() -> int:
    """A loopback port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
