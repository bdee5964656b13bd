"""One daemon per state folder: a lock (flock) that the kernel gives back when its holder dies."""

from __future__ import annotations

import contextlib
import fcntl
import os
from pathlib import Path

from gateway.errors import Refused

__all__ = ["StateLock"]


class StateLock:
    """Held from `take` to `release`."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._descriptor = -1

    def take(self) -> None:
        """Raises Refused with `state-in-use`, naming the holder's process id; OSError."""
        descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as fault:
            holder = os.read(descriptor, 20).decode("ascii", "replace").strip() or "unknown"
            os.close(descriptor)
            raise Refused(
                f"Process {holder} already works with the state folder {self._path.parent}.",
                remedy="Stop it first (systemctl stop gatepost), or give this one a state folder of its own.",
                code="state-in-use",
            ) from fault
        self._descriptor = descriptor
        with contextlib.suppress(OSError):  # a full disk keeps the number from being told, not the lock from holding
            os.ftruncate(descriptor, os.write(descriptor, b"%d\n" % os.getpid()))

    def release(self) -> None:
        """Harmless when it isn't held. The file stays: removing it would let two holders in."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
