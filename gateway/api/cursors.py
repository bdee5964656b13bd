"""Where a page goes on: opaque to clients, so that what is in it may change.

A cursor is base64url of a short JSON object that names the list it belongs to. It is no secret and carries no
rights; whoever makes one up gets a page of what they may read anyway.
"""

from __future__ import annotations

import base64
import binascii
import json

from gateway.api.faults import Place, RequestFault

__all__ = ["read_number", "read_text", "write_cursor"]

_NUMBER_LIMIT = 1 << 63  # what the store can look up


def write_cursor(kind: str, at: str | int) -> str:
    """A cursor into the list `kind`, going on behind `at`."""
    text = json.dumps([kind, at], separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_number(kind: str, text: str) -> int:
    """The number that was given to `write_cursor`. Raises RequestFault when it isn't a cursor into this list."""
    found = _read(kind, text)
    if type(found) is not int or not 0 <= found < _NUMBER_LIMIT:
        raise _foreign()
    return found


def read_text(kind: str, text: str) -> str:
    """The text that was given to `write_cursor`. Raises RequestFault when it isn't a cursor into this list."""
    found = _read(kind, text)
    if not isinstance(found, str):
        raise _foreign()
    return found


def _read(kind: str, text: str) -> object:
    try:
        found = json.loads(base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True))
    except (binascii.Error, ValueError, RecursionError) as error:
        raise _foreign() from error
    if not (isinstance(found, list) and len(found) == 2 and found[0] == kind):
        raise _foreign()
    return found[1]


def _foreign() -> RequestFault:
    return RequestFault(
        "cursor-invalid",
        "The cursor is not one that this list gave out.",
        remedy="Begin without a cursor, and take the next one from each page.",
        places=[Place("this is not a cursor of this list; begin without one", parameter="cursor")],
    )
