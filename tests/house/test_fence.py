"""Tests reach this machine only."""

import socket

import pytest
from pytest_socket import SocketConnectBlockedError


def test_a_test_cannot_reach_another_host() -> None:
    # 192.0.2.1 belongs to nobody: a block kept for documentation (RFC 5737).
    with (
        socket.socket() as outside,
        pytest.warns(UserWarning, match="192.0.2.1"),
        pytest.raises(SocketConnectBlockedError),
    ):
        outside.connect(("192.0.2.1", 80))


def test_a_test_can_reach_this_machine() -> None:
    with socket.socket() as server, socket.socket() as client:
        server.bind(("127.0.0.1", 0))
        server.listen(1)
        client.connect(server.getsockname())
