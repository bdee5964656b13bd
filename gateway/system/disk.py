"""How much room the disk under a folder has left."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

__all__ = ["DiskSpace", "read_disk_space"]


@dataclass(frozen=True, slots=True)
class DiskSpace:
    """Bytes for the gateway's own user, and whether the file system can only be read."""

    free: int
    total: int
    read_only: bool


def read_disk_space(folder: Path) -> DiskSpace:
    """statvfs(3) of the file system under `folder`. Raises OSError."""
    found = os.statvfs(folder)
    return DiskSpace(
        free=found.f_bavail * found.f_frsize,
        total=found.f_blocks * found.f_frsize,
        read_only=bool(found.f_flag & os.ST_RDONLY),
    )
