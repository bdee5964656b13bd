"""Which start of the operating system this is (random_boot_id of the kernel, proc(5))."""

from __future__ import annotations

import uuid
from pathlib import Path

__all__ = ["read_boot_id"]

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def read_boot_id(path: Path = _BOOT_ID) -> str:
    """The kernel's id; one made up for this run where the kernel hides it."""
    try:
        return str(uuid.UUID(path.read_text(encoding="ascii").strip()))
    except (OSError, ValueError):
        return str(uuid.uuid4())
