"""The text of one cell: what is trimmed, what is refused, and how a fault shows it.

Spreadsheets leave stray blanks, no-break spaces and byte-order marks in cells, and a formula that failed as
`#N/A`. Text that would show as something else than it is (bidirectional controls, NUL and other control
characters) is refused: it could make one holder look like another (Unicode Technical Report 36, section 2).

This file knows nothing of rows, columns or rosters; what a spreadsheet would take for a formula: `domain.spreadsheet`.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["MAX_TEXT", "Wrong", "clean", "column_letter", "is_blank", "near_matches", "show"]

MAX_TEXT = 1000  # our choice: a name or a note, not a document; a spreadsheet's own limit is 32,767
_INVISIBLE = dict.fromkeys((0x00AD, 0x200B, 0x2060, 0xFEFF))  # soft hyphen, zero-width space, word joiner, mark
_BIDI = "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"
_FORBIDDEN = re.compile(f"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f{_BIDI}]")
_ERROR_VALUE = re.compile(r"#(N/A|REF!|NAME\?|VALUE!|DIV/0!|NUM!|NULL!|SPILL!|#+)", re.IGNORECASE)
_MAX_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something that can't be read: what was found, and what to write instead."""

    found: str
    remedy: str


def is_blank(raw: str) -> bool:
    """Whether nobody would see anything in this cell."""
    return not raw or raw.isspace() or not raw.translate(_INVISIBLE).strip()


def clean(raw: str) -> str | Wrong:
    """The cell's text, composed (NFC), without stray blanks; every run of blanks and line ends is one blank."""
    text = raw.strip(" ")
    if not (text.isascii() and text.isprintable() and "  " not in text):
        forbidden = _FORBIDDEN.search(text)
        if forbidden is not None:
            return _forbidden(text, forbidden.group())
        if "\ufffd" in text:
            return Wrong(
                f"{show(text)} with a replacement character (U+FFFD)",
                "type the text again: its letters were lost when the file was saved in another encoding",
            )
        text = " ".join(unicodedata.normalize("NFC", text.translate(_INVISIBLE)).split())
    if len(text) > MAX_TEXT:
        return Wrong(f"{len(text)} characters: {show(text)}", f"shorten the text to {MAX_TEXT} characters")
    if text.startswith("#") and _ERROR_VALUE.fullmatch(text):
        return Wrong(f"the spreadsheet error {text}", "correct the formula, or write the value itself")
    return text


def _forbidden(text: str, character: str) -> Wrong:
    name = "NUL" if character == "\0" else unicodedata.name(character, "a control character").lower()
    return Wrong(
        f"{show(text)} with U+{ord(character):04X} ({name})", "delete the invisible character, or type it again"
    )


def show(text: str) -> str:
    """The text in quotes for a message: shortened, with everything invisible written as its code point."""
    short = text if len(text) <= _MAX_SHOWN else text[: _MAX_SHOWN - 1] + "…"
    return '"' + "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in short) + '"'


def column_letter(index: int) -> str:
    """The letter that a spreadsheet shows over a column; index 0 is A."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def near_matches(text: str, names: Iterable[str]) -> str:
    """` (did you mean …?)` with up to three similar names, or an empty string."""
    by_fold = {name.casefold(): name for name in names}
    near = get_close_matches(text.casefold(), by_fold, n=3, cutoff=0.6)
    return f" (did you mean {' or '.join(show(by_fold[name]) for name in near)}?)" if near else ""
