"""Where the memory's contents outlive the power: a log of checksummed lines.

Each line is a CRC-32, a blank and one JSON object of keys and values that belong together; the file is
what follows from applying them in order. A line that a power cut tore fails its checksum and counts as not written,
so every group of keys is wholly old or wholly new. `sync` returns when all lines are on the disk. At opening the
log is rewritten as one line under another name and moved into place.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from gateway.errors import SettingsFault

__all__ = ["FileKeeper", "Keeper", "Kept", "NoKeeper"]

Kept = int | str


class Keeper(Protocol):
    """What the memory writes to."""

    def load(self) -> dict[str, Kept]:
        """Everything that was kept; empty for a receiver fresh from the factory."""
        ...

    def put(self, values: Mapping[str, Kept]) -> None:
        """Keep these together, or none of them."""

    def sync(self) -> None:
        """Return when all that was put is durable."""

    def close(self) -> None:
        """Give the file back."""


class NoKeeper:
    """Forgets with the process; a power cut that the process itself plays is survived by the memory's object."""

    def load(self) -> dict[str, Kept]:
        return {}

    def put(self, values: Mapping[str, Kept]) -> None:
        pass

    def sync(self) -> None:
        pass

    def close(self) -> None:
        pass


class FileKeeper:
    """Keeps in a file. Raises SettingsFault when the file can't be used; OSError when the disk fails later."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._fd = -1

    def load(self) -> dict[str, Kept]:
        self.close()
        try:
            values = self._read()
            self._rewrite(values)
            self._fd = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC)
        except OSError as fault:
            raise SettingsFault(
                f"The memory file {self._path} can't be used: {fault.strerror}.",
                remedy="Choose a path in a folder that you may write to.",
            ) from fault
        return values

    def put(self, values: Mapping[str, Kept]) -> None:
        _write_all(self._fd, _line(values))

    def sync(self) -> None:
        os.fdatasync(self._fd)

    def close(self) -> None:
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    def _read(self) -> dict[str, Kept]:
        """What is kept there. The first line is always whole, for it was moved into place: so another file shows."""
        data = self._path.read_bytes() if self._path.exists() else b""
        first, _, _ = data.partition(b"\n")
        if data and not _is_whole(first):
            raise SettingsFault(
                f"{self._path} is no memory of a virtual receiver; it is left as it is.",
                remedy="Choose another path, or move that file away.",
            )
        return _read_log(data)

    def _rewrite(self, values: Mapping[str, Kept]) -> None:
        beside = self._path.with_name(self._path.name + ".new")
        fd = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
        try:
            _write_all(fd, _line(values))
            os.fsync(fd)
        finally:
            os.close(fd)
        beside.replace(self._path)
        folder = os.open(self._path.parent, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _write_all(fd: int, data: bytes) -> None:
    while data:
        data = data[os.write(fd, data) :]


def _line(values: Mapping[str, Kept]) -> bytes:
    text = json.dumps(values, separators=(",", ":")).encode("ascii")
    return f"{zlib.crc32(text):08x} ".encode("ascii") + text + b"\n"


def _read_log(data: bytes) -> dict[str, Kept]:
    values: dict[str, Kept] = {}
    for line in data.split(b"\n")[:-1]:
        if not _is_whole(line):
            break
        values.update(json.loads(line.partition(b" ")[2]))
    return values


def _is_whole(line: bytes) -> bool:
    check, _, text = line.partition(b" ")
    return check == f"{zlib.crc32(text):08x}".encode("ascii")
