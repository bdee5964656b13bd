"""The ledger's file: lines, each with its own checksum, each on the disk before it counts.

::

    <CRC-32 of the JSON, eight hex digits> <canonical JSON of one object>\\n

A line without its line feed was cut by a power failure and was never acknowledged; it is dropped. A line whose
checksum is wrong is passed over, whatever stands around it is kept. Knows nothing of what lines mean.
"""

from __future__ import annotations

import contextlib
import os
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.store.codec import CodecFault, canonical, parse
from gateway.store.files import replace_file, set_aside_name, sync_folder

__all__ = ["LedgerLines", "Reading", "read_lines"]

Entry = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Reading:
    """What a file held. `damaged` are numbers of lines (from 1) passed over; `torn` tells of a cut last line."""

    entries: tuple[Entry, ...]
    damaged: tuple[int, ...]
    torn: bool


def read_lines(content: bytes) -> Reading:
    """Everything in a ledger's bytes that is as it was written."""
    *whole, rest = content.split(b"\n")
    entries, damaged = [], []
    for number, line in enumerate(whole, 1):
        entry = _entry(line)
        if entry is None:
            damaged.append(number)
        else:
            entries.append(entry)
    return Reading(tuple(entries), tuple(damaged), bool(rest))


class LedgerLines:
    """The open file. Blocking; to be used from one thread."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._entries: list[Entry] = []
        self._descriptor = -1
        self._clean = False  # False: the file's end is not known, so the next write writes all of it anew

    @property
    def entries(self) -> Sequence[Entry]:
        """Every line that the file holds."""
        return tuple(self._entries)

    def open(self) -> tuple[Reading, str]:
        """Read the file, or create it. The second value is the name of a damaged file set aside, or empty.

        Raises OSError.
        """
        content = self.path.read_bytes() if self.path.exists() else b""
        reading = read_lines(content)
        self._entries = list(reading.entries)
        aside = ""
        if reading.damaged:
            aside = self._copy_aside()
        if reading.damaged or reading.torn or not content:
            self.rewrite(self._entries)
        else:
            self._attach()
        return reading, aside

    def append(self, entry: Entry) -> None:
        """Durable when it returns. Raises OSError, and the line then does not count."""
        if not self._clean:
            self.rewrite([*self._entries, entry])
            return
        self._clean = False
        length = os.fstat(self._descriptor).st_size
        try:
            self._write(_line(entry))
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, length)
            raise
        self._clean = True
        self._entries.append(entry)

    def rewrite(self, entries: Sequence[Entry]) -> None:
        """Put these lines in place of all. Raises OSError, and memory is then as before."""
        self._clean = False
        replace_file(self.path, b"".join(map(_line, entries)))
        self._entries = list(entries)
        self._attach()

    def close(self) -> None:
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
        self._clean = False

    def _write(self, line: bytes) -> None:
        rest = memoryview(line)
        while rest:
            rest = rest[os.write(self._descriptor, rest) :]
        os.fsync(self._descriptor)

    def _attach(self) -> None:
        self.close()
        self._descriptor = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC)
        self._clean = True

    def _copy_aside(self) -> str:
        name = set_aside_name(self.path)
        with contextlib.suppress(OSError):  # no room for a second name: the good lines matter more
            os.link(self.path, name)
            sync_folder(self.path.parent)
            return name.name
        return ""


def _line(entry: Entry) -> bytes:
    text = canonical(entry).encode("ascii")
    return b"%08x %s\n" % (zlib.crc32(text), text)


def _entry(line: bytes) -> Entry | None:
    checksum, blank, text = line[:8], line[8:9], line[9:]
    if blank != b" " or checksum != b"%08x" % zlib.crc32(text):
        return None
    try:
        entry = parse(text.decode("ascii"))
    except (CodecFault, UnicodeDecodeError):
        return None
    return entry if isinstance(entry, dict) else None
