"""The files inside a workbook, unpacked by ourselves and never beyond a limit.

XLSX and ODS are ZIP archives, and a small one can unfold to gigabytes. So parts are unpacked only when somebody asks
for them, against one budget for all, and a part that nobody needs (pictures, other sheets) never is.

Sources: PKWARE APPNOTE 6.3 (methods 0 and 8, encryption is bit 0 of the flags); ECMA-376 Part 2 (names of parts are
compared without regard to case).
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib

from gateway.roster.cells import Wrong
from gateway.roster.unreadable import Unreadable, broken

__all__ = ["MAX_UNPACKED", "ZipParts"]

MAX_UNPACKED = 48 * 1024 * 1024  # our choice: 25,000 rows as ODS, the wordier of the two, take some 30 MiB
_MAX_ENTRIES = 5_000  # our choice: each takes memory before anything is unpacked; a workbook has some dozens
_CENTRAL_ENTRY = b"PK\x01\x02"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 0x1
_FAULTS = (zipfile.BadZipFile, zlib.error, EOFError, struct.error, OSError, ValueError, NotImplementedError, KeyError)


class ZipParts:
    """The directory of one archive; parts are unpacked when they are asked for. Raises Unreadable."""

    def __init__(self, data: bytes, max_unpacked: int = MAX_UNPACKED) -> None:
        if data.count(_CENTRAL_ENTRY) > _MAX_ENTRIES:
            raise broken(f"more than {_MAX_ENTRIES} parts inside")
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(data))
            self._entries = {entry.filename.casefold(): entry for entry in self._archive.infolist()}
        except _FAULTS as error:
            raise broken("its directory can't be read, so it may have been cut") from error
        self._left = max_unpacked
        self._limit = max_unpacked

    def __contains__(self, name: str) -> bool:
        return name.casefold() in self._entries

    def take(self, name: str, max_bytes: int = MAX_UNPACKED) -> bytes:
        """One part, unpacked. It is limited, and so is what all parts take together."""
        entry = self._entries.get(name.casefold())
        if entry is None:
            raise broken(f"the part {name} is missing")
        if entry.flag_bits & _ENCRYPTED:
            raise Unreadable(Wrong("a file protected by a password", "save it without a password"))
        if entry.compress_type not in _METHODS:
            raise broken(f"the part {name} is packed in an unusual way")
        try:
            with self._archive.open(entry) as part:
                content = part.read(min(self._left, max_bytes) + 1)
        except _FAULTS as error:
            raise broken(f"the part {name} can't be unpacked") from error
        self._left -= len(content)
        if len(content) > max_bytes < self._limit:
            raise broken(f"the part {name} is larger than {max_bytes} bytes")
        if self._left < 0:
            raise Unreadable(
                Wrong(
                    f"a workbook that unfolds to more than {self._limit >> 20} MiB",
                    "copy the roster's rows into a new workbook and save that one",
                )
            )
        return content
