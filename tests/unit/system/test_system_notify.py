"""Notices to the service manager reach its socket, and never hold up or end the daemon."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from gateway.system.notify import ServiceManager


def listening(address: str) -> socket.socket:
    receiver = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    receiver.bind(address)
    receiver.setblocking(False)
    return receiver


def test_notices_reach_a_socket_by_path(tmp_path: Path) -> None:
    """The words are those of sd_notify(3); a status is one line."""
    with listening(str(tmp_path / "notify")) as receiver:
        manager = ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "notify")})
        assert manager.ready("3 receivers\non 2 lines")
        assert receiver.recv(1000) == b"READY=1\nSTATUS=3 receivers on 2 lines"
        assert manager.watchdog()
        assert receiver.recv(1000) == b"WATCHDOG=1"
        assert manager.status("syncing")
        assert receiver.recv(1000) == b"STATUS=syncing"
        assert manager.stopping()
        assert receiver.recv(1000) == b"STOPPING=1"


def test_notices_reach_an_abstract_socket() -> None:
    """A leading @ stands for the zero byte of the abstract name space (unix(7))."""
    name = f"gatepost-test-{os.getpid()}"
    with listening(f"\0{name}") as receiver:
        assert ServiceManager({"NOTIFY_SOCKET": f"@{name}"}).ready()
        assert receiver.recv(1000) == b"READY=1"


def test_without_a_service_manager_nothing_is_sent() -> None:
    """Started by hand, notices are nobody's business."""
    manager = ServiceManager({})
    assert not manager.ready()
    assert manager.watchdog_s is None


def test_a_socket_that_is_gone_or_full_is_no_fault(tmp_path: Path) -> None:
    """Sending says False and does not wait."""
    assert not ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "gone")}).ready()
    with listening(str(tmp_path / "full")):
        manager = ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "full")})
        sent = 0
        while manager.watchdog():
            sent += 1
            assert sent < 100_000
        assert sent > 0


@pytest.mark.parametrize(
    ("environment", "seconds"),
    [
        ({"WATCHDOG_USEC": "30000000"}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}, 30.0),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_the_limit_of_the_watchdog_is_for_us_alone(environment: dict[str, str], seconds: float | None) -> None:
    """Microseconds, and only when the watched process is this one (sd_watchdog_enabled(3))."""
    assert ServiceManager(environment).watchdog_s == seconds
