"""The rights column: `1:slip-gate/gate 1+2:car-park/barrier`, position:receiver/output, blanks between.

This file knows the form alone; whether such a receiver and output exist is checked elsewhere.
"""

from __future__ import annotations

import re

from gateway.domain.roster import Right
from gateway.domain.transmitter import POSITION_LABEL
from gateway.roster.cells import Wrong, show

__all__ = ["read_name", "read_output", "read_position", "read_rights"]

_FORM = "write position:receiver/output, blanks between, such as 1:slip-gate/gate 1+2:car-park/barrier"
_NAME_FORM = "write it as the settings do: letters a to z, digits and hyphens"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_OUTPUT = re.compile(r"[^\s:/,;]{1,32}")  # the rule of settings.receivers
_DASHES = dict.fromkeys((*range(0x2010, 0x2016), 0x2212, 0xFE58, 0xFE63, 0xFF0D), "-")
_QUOTES = re.compile("[\"'\u00ab\u00bb\u2018-\u201f\u2039\u203a\uff02\uff07]")
_RIGHT = re.compile(r"([^\s:/,;]+):([^\s:/,;]+)/([^\s:/,;]+)")


def read_name(text: str) -> str | Wrong:
    """The name of a receiver or a site, which has no letter beyond ASCII.

    A dash that a word processor made of a hyphen can mean nothing else. Any other name than one of the settings would
    be taken for a receiver elsewhere, and its right be lost here; so what no settings can have is refused.
    """
    name = text.translate(_DASHES)
    if _NAME.fullmatch(name):
        return name
    if _QUOTES.search(name):
        return Wrong(f"{show(text)} with a quotation mark", "write it without quotation marks")
    return Wrong(f"the name {show(text)}", _NAME_FORM)


def read_output(text: str) -> str | Wrong:
    """The name or number of an output. It may have letters of any script; whether the receiver has it is seen later."""
    name = text.translate(_DASHES)
    if _OUTPUT.fullmatch(name) and name.isprintable() and not _QUOTES.search(name):
        return name
    return read_name(text)


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
        right = _read_right(part)
        if isinstance(right, Wrong):
            wrongs.append(right)
        else:
            rights.append(right)
    return sorted(set(rights)), wrongs


def _read_right(part: str) -> Right | Wrong:
    match = _RIGHT.fullmatch(part)
    if match is None:
        return Wrong(f"{show(part)} among the rights", _FORM)
    if _QUOTES.search(part):
        return Wrong(f"{show(part)} with a quotation mark", "write rights without quotation marks")
    position, receiver, output = read_position(match[1]), read_name(match[2]), read_output(match[3])
    if isinstance(position, Wrong):
        return position
    if isinstance(receiver, Wrong):
        return receiver
    return output if isinstance(output, Wrong) else Right(receiver, position, output)
