"""Notices to the service manager: ready, stopping, alive, and a status line.

The protocol is that of sd_notify(3): a datagram of `NAME=value` lines to the socket that $NOTIFY_SOCKET names, by
path or, with a leading `@`, in the abstract name space. Without that variable nobody listens and nothing is sent.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping

__all__ = ["ServiceManager"]


class ServiceManager:
    """Says how the daemon is. Sending never blocks and never raises: a notice is not worth the daemon's life."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self._watchdog_us = environment.get("WATCHDOG_USEC", "")
        self._watchdog_pid = environment.get("WATCHDOG_PID", "")

    @property
    def watchdog_s(self) -> float | None:
        """Seconds without a sign of life before we are restarted, None when nobody watches (sd_watchdog_enabled(3))."""
        watched = self._watchdog_pid in ("", str(os.getpid()))
        if not (watched and self._watchdog_us.isascii() and self._watchdog_us.isdigit()):
            return None
        return int(self._watchdog_us) / 1e6 or None

    def ready(self, status: str = "") -> bool:
        return self.send("READY=1", *_status(status))

    def stopping(self, status: str = "") -> bool:
        return self.send("STOPPING=1", *_status(status))

    def status(self, status: str) -> bool:
        """One line for `systemctl status`."""
        return self.send(*_status(status))

    def watchdog(self) -> bool:
        return self.send("WATCHDOG=1")

    def send(self, *lines: str) -> bool:
        """True when the notice was handed over."""
        if not self._address or not lines:
            return False
        try:
            with socket.socket(
                socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK
            ) as sender:
                sender.sendto("\n".join(lines).encode(), self._address)
        except OSError:
            return False
        return True


def _status(text: str) -> tuple[str, ...]:
    return (f"STATUS={' '.join(text.split())}",) if text else ()
