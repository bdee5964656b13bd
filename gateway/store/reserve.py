"""Room kept free for the day that the disk is full: a revocation must still be written.

A file of zeros holds the room; letting go of it frees the room for the ledger, which needs a few hundred bytes.
The size is our choice: far more than a ledger ever has, far less than a memory card.
"""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from gateway.store.files import sync_folder

__all__ = ["RESERVE_BYTES", "Reserve"]

RESERVE_BYTES = 4 * 1024 * 1024


class Reserve:
    """One file. Blocking."""

    def __init__(self, path: Path, size: int = RESERVE_BYTES) -> None:
        self._path = path
        self._size = size
        self._kept = False

    def keep(self) -> bool:
        """Take the room again, if there is any; False when there isn't."""
        if self._kept:
            return True
        try:
            descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                os.posix_fallocate(descriptor, 0, self._size)
            finally:
                os.close(descriptor)
        except OSError:
            self.release()
            return False
        self._kept = True
        return True

    def release(self) -> None:
        """Give the room away."""
        self._kept = False
        with contextlib.suppress(OSError):
            self._path.unlink()
            sync_folder(self._path.parent)
