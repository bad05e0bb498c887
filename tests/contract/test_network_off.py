"""The guard that keeps tests off the network is itself tested."""

from __future__ import annotations

import socket

import pytest

from tests.parts.network import NetworkRefused, is_local


def test_a_connection_beyond_this_machine_is_refused() -> None:
    with socket.socket() as connection, pytest.raises(NetworkRefused):
        connection.connect(("192.0.2.1", 80))  # TEST-NET-1, RFC 5737


def test_a_look_up_of_another_machine_is_refused() -> None:
    with pytest.raises(NetworkRefused):
        socket.create_connection(("example.org", 80), timeout=1)


def test_loopback_is_let_through() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        socket.create_connection(server.getsockname(), timeout=5).close()


@pytest.mark.parametrize(
    ("address", "local"),
    [
        (("127.8.0.1", 1), True),
        (("::1", 1, 0, 0), True),
        ("/run/broker.sock", True),
        (("10.0.0.1", 1), False),
        (("2001:db8::1", 1, 0, 0), False),
        (("example.org", 1), False),
    ],
)
def test_what_counts_as_this_machine(address: object, local: bool) -> None:
    assert is_local(address) is local
