"""The rights column: `1:slip-gate/gate 1+2:car-park/barrier`, position:receiver/output, blanks between.

This file knows the form alone; whether such a receiver and output exist is checked elsewhere.
"""

from __future__ import annotations

import re

from gateway.domain.roster import Right
from gateway.domain.transmitter import POSITION_LABEL
from gateway.roster.cells import Wrong, show

__all__ = ["read_position", "read_rights"]

_FORM = "write position:receiver/output, blanks between, such as 1:slip-gate/gate 1+2:car-park/barrier"
_RIGHT = re.compile(r"([^\s:/,;]+):([^\s:/,;]+)/([^\s:/,;]+)")


def read_position(text: str) -> str | Wrong:
    """A position's label, `1` to `8` or two of them as `1+2`; `2+1` is read as `1+2`."""
    first, _, second = text.partition("+")
    if POSITION_LABEL.fullmatch(text) and first != second:
        return f"{second}+{first}" if second and second < first else text
    return Wrong(f"the position {show(text)}", "write 1 to 8, or two different ones pressed together as 1+2")


def read_rights(text: str) -> tuple[list[Right], list[Wrong]]:
    """All rights in the cell, each once, and all that is wrong with it."""
    rights: list[Right] = []
    wrongs: list[Wrong] = []
    for part in text.split():
        match = _RIGHT.fullmatch(part)
        if match is None:
            wrongs.append(Wrong(f"{show(part)} among the rights", _FORM))
            continue
        position = read_position(match[1])
        if isinstance(position, Wrong):
            wrongs.append(position)
        else:
            rights.append(Right(match[2], position, match[3]))
    return sorted(set(rights)), wrongs
