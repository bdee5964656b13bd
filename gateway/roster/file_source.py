"""A roster file and its groups file at paths on this machine, with their signatures where those are asked for.

A file that somebody is writing at this moment must not be read in half: what `fstat` says before and after
reading has to be the same, and a file that changed less than a second ago is read once more after a second of
rest. This file knows nothing of what stands in the files.
"""

from __future__ import annotations

import asyncio
import hashlib
import os
import stat
from pathlib import Path

from gateway.clock import Clock, SystemClock
from gateway.errors import SourceRefused, SourceUnreachable
from gateway.ports import Fetched, NotModified

__all__ = ["MAX_BYTES", "FileSource", "read_whole"]

MAX_BYTES = 10 * 1024 * 1024  # our choice: 5,000 holders take half a megabyte
_REST_S = 1.0
_TRIES = 5

_Stamp = tuple[int, int, int, int]  # device, inode, size, time of change in nanoseconds


def read_whole(path: Path, max_bytes: int = MAX_BYTES) -> bytes:
    """The file's bytes. Raises SourceUnreachable (also while it is being written), SourceRefused."""
    data, stamp = _read(path, max_bytes)
    if stamp is None:
        raise SourceUnreachable(f"{path} changes while it is read.", remedy="Try again when it has been saved.")
    return data


def _read(path: Path, max_bytes: int) -> tuple[bytes, _Stamp | None]:
    """The bytes and a stamp that changes with the file; None when it changed while it was read."""
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)  # a pipe would block otherwise
        with os.fdopen(descriptor, "rb") as file:
            before = os.fstat(file.fileno())
            if not stat.S_ISREG(before.st_mode):
                raise SourceRefused(f"{path} is not a regular file.", remedy="Name the CSV file itself.")
            data = file.read(max_bytes + 1)
            after = os.fstat(file.fileno())
    except FileNotFoundError as error:
        raise SourceUnreachable(f"There is no file {path}.", remedy="Put it there, or correct the path.") from error
    except IsADirectoryError as error:
        raise SourceRefused(f"{path} is a folder.", remedy="Name the CSV file itself.") from error
    except PermissionError as error:
        remedy = "Let the user that runs this program read it."
        raise SourceUnreachable(f"{path} may not be read.", remedy=remedy) from error
    except OSError as error:
        remedy = "Look whether the disk or the network share is there; it is tried again."
        raise SourceUnreachable(f"{path} can't be read: {error.strerror}.", remedy=remedy) from error
    if len(data) > max_bytes:
        remedy = "Name the roster file; no roster is that large."
        raise SourceRefused(f"{path} is larger than {max_bytes >> 20} MiB.", remedy=remedy)
    if _stamp(before) != _stamp(after) or len(data) != after.st_size:
        return data, None
    return data, _stamp(after)


def _stamp(status: os.stat_result) -> _Stamp:
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def _still_written(path: Path) -> SourceUnreachable:
    remedy = "Nothing to do if it is being saved: it is tried again."
    return SourceUnreachable(f"{path} changes while it is read.", remedy=remedy)


class FileSource:
    """Implements `ports.RosterSource` for paths; the tag is a digest of all files.

    With `signature_ending` the files of the same names with this ending are read too; one that is missing is None.
    """

    def __init__(
        self,
        path: Path,
        groups_path: Path | None = None,
        *,
        clock: Clock | None = None,
        max_bytes: int = MAX_BYTES,
        signature_ending: str = "",
    ) -> None:
        self._path = path
        self._groups_path = groups_path
        self._clock = clock or SystemClock()
        self._max_bytes = max_bytes
        self._ending = signature_ending

    @property
    def place(self) -> str:
        return str(self._path)

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Read both files. Raises SourceUnreachable, SourceRefused. Cancellation is safe: nothing is written."""
        roster = await self._at_rest(self._path)
        groups = await self._at_rest(self._groups_path) if self._groups_path else None
        signature, of_groups = await self._signature(self._path), await self._signature(self._groups_path)
        fetched = Fetched(roster, groups, _tag(roster, groups, signature, of_groups), signature, of_groups)
        return NotModified() if fetched.tag == tag else fetched

    async def _signature(self, path: Path | None) -> bytes | None:
        if path is None or not self._ending:
            return None
        beside = path.with_name(path.name + self._ending)
        return await self._at_rest(beside) if await asyncio.to_thread(beside.exists) else None

    async def _at_rest(self, path: Path) -> bytes:
        """The file's bytes, once two looks a second apart agree or the last change is older than that."""
        last: _Stamp | None = None
        for _ in range(_TRIES):
            data, stamp = await asyncio.to_thread(_read, path, self._max_bytes)
            if stamp is not None and (stamp == last or not self._just_changed(stamp)):
                return data
            last = stamp
            await self._clock.sleep(_REST_S)
        raise _still_written(path)

    def _just_changed(self, stamp: _Stamp) -> bool:
        age_s = self._clock.now().timestamp() - stamp[3] / 1e9
        return abs(age_s) < _REST_S


def _tag(*parts: bytes | None) -> str:
    return " ".join("-" if part is None else hashlib.sha256(part).hexdigest() for part in parts)
