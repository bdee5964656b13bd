"""Writing files so that a power cut leaves the old or the new, never a half.

Write a temporary file, sync it, rename it, sync the folder. All files are for the gateway's own user alone.
"""

from __future__ import annotations

import contextlib
import math
import os
from pathlib import Path

__all__ = [
    "TEMPORARY",
    "make_private_folder",
    "remove_set_aside",
    "replace_file",
    "set_aside_name",
    "sweep",
    "sync_folder",
    "write_synced",
]

#: What a file that was being written when the power failed ends in.
TEMPORARY = ".part"


def make_private_folder(folder: Path) -> None:
    """Create a folder (and its parents) with mode 0700, or take the rights of others from an existing one."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if folder.stat().st_mode & 0o077:
        folder.chmod(0o700)


def write_synced(path: Path, content: bytes) -> None:
    """A new file of mode 0600, on the disk when this returns. Leaves nothing behind when it fails."""
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with contextlib.suppress(OSError):
            path.unlink()
        raise


def replace_file(path: Path, content: bytes) -> None:
    """Put `content` in place of whatever `path` holds, whole or not at all."""
    part = path.with_name(path.name + TEMPORARY)
    write_synced(part, content)
    part.rename(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make what was created, renamed or deleted in a folder durable."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def set_aside_name(path: Path) -> Path:
    """The first free name `<path>.damaged-N`."""
    number = 1
    while (name := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    return name


def remove_set_aside(folder: Path, *, before_s: float = math.inf) -> int:
    """Delete what was set aside as damaged and last written before `before_s` (seconds since 1970); how many files."""
    found = [path for path in folder.glob("*.damaged-*") if path.is_file() and path.stat().st_mtime < before_s]
    for path in found:
        path.unlink()
    if found:
        sync_folder(folder)
    return len(found)


def sweep(folder: Path) -> None:
    """Remove what was being written when the power failed."""
    for part in folder.glob(f"*{TEMPORARY}"):
        if part.is_file():
            part.unlink()
