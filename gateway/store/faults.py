"""From what SQLite and the file system say to the one tree of errors.

SQLite's primary result codes are published at https://www.sqlite.org/rescode.html; an extended code has the
primary one in its low byte.
"""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path

from gateway.errors import StoreDamaged, StoreError, StoreUnavailable

__all__ = ["FAULTS", "damaged", "from_os", "from_sqlite"]

_SPACE = "Free some disk space; the gateway goes on by itself."
_CARD = "Check the card or disk (dmesg says more), and replace it when it fails; the gateway goes on by itself."
_OTHER = "Close the other program that has the database open."
_RIGHTS = "Give the state folder back to the gateway's user (chown -R gatepost), then start again."

_UNAVAILABLE = {
    sqlite3.SQLITE_FULL: ("the disk is full", _SPACE),
    sqlite3.SQLITE_READONLY: ("it can only be read", _CARD),
    sqlite3.SQLITE_IOERR: ("the disk failed", _CARD),
    sqlite3.SQLITE_CANTOPEN: ("it can't be opened", _RIGHTS),
    sqlite3.SQLITE_PERM: ("its file rights forbid it", _RIGHTS),
    sqlite3.SQLITE_BUSY: ("another program holds it", _OTHER),
    sqlite3.SQLITE_LOCKED: ("another program holds it", _OTHER),
    sqlite3.SQLITE_PROTOCOL: ("another program holds it", _OTHER),
    sqlite3.SQLITE_NOMEM: ("there is no memory left", "Stop what uses the memory; the gateway goes on by itself."),
}
_DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})


#: What working with a database raises when the disk or the database is at fault. A text that is no UTF-8 any more
#: comes as sqlite3.OperationalError from a column and as UnicodeDecodeError from a message about a damaged schema.
FAULTS = (sqlite3.Error, UnicodeDecodeError)


def from_sqlite(fault: Exception, path: Path) -> StoreError | None:
    """The error for people, None when the fault is a mistake in our own statements."""
    if isinstance(fault, UnicodeDecodeError):
        return damaged(path, "a text in it is no text any more")
    code = getattr(fault, "sqlite_errorcode", None)
    if code is None:  # raised by Python itself: a text that is no text any more, or our own mistake
        return damaged(path, str(fault)) if "Could not decode" in str(fault) else None
    if code & 0xFF in _DAMAGED:
        return damaged(path, str(fault))
    if code & 0xFF in _UNAVAILABLE:
        what, remedy = _UNAVAILABLE[code & 0xFF]
        return StoreUnavailable(f"The database {path} can't be written or read: {what} ({fault}).", remedy=remedy)
    return None


def damaged(path: Path, detail: str) -> StoreDamaged:
    """The database can't be read as it was written."""
    return StoreDamaged(
        f"The database {path} is damaged ({detail}).",
        remedy="Start the gateway again: it sets the file aside, begins a new one and reads the receivers anew.",
    )


def from_os(fault: OSError, path: Path) -> StoreUnavailable:
    """A file beside the database can't be written or read."""
    full = fault.errno in (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)
    denied = isinstance(fault, PermissionError)
    return StoreUnavailable(
        f"{path} can't be written or read ({fault.strerror or fault}).",
        remedy=_SPACE if full else _RIGHTS if denied else _CARD,
    )
