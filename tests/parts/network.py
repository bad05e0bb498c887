"""Keeps tests off the network: nothing but this machine's own loopback can be reached."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterator
from typing import Any

import pytest


class NetworkRefused(OSError):
    """A test tried to reach beyond this machine."""


def is_local(address: Any) -> bool:
    """Tell whether a socket address stays on this machine: a unix socket's path or a loopback host."""
    if isinstance(address, str | bytes):
        return True
    host = str(address[0])
    if host in ("", "localhost"):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@pytest.fixture(scope="session", autouse=True)
def network_off() -> Iterator[None]:
    """Refuse connections and look-ups that would leave the machine."""
    patch = pytest.MonkeyPatch()
    for name in ("connect", "connect_ex"):
        patch.setattr(socket.socket, name, _guarded(getattr(socket.socket, name)))
    resolve = socket.getaddrinfo

    def local_only(host: Any, *arguments: Any, **options: Any) -> Any:
        if host is not None and not is_local((host.decode() if isinstance(host, bytes) else host,)):
            raise NetworkRefused(f"tests do not look up {host!r}")
        return resolve(host, *arguments, **options)

    patch.setattr(socket, "getaddrinfo", local_only)
    yield
    patch.undo()


def _guarded(method: Any) -> Any:
    def connect(self: socket.socket, address: Any) -> Any:
        if not is_local(address):
            raise NetworkRefused(f"tests do not connect to {address!r}")
        return method(self, address)

    return connect
