"""Text tables that are safe to open in a spreadsheet.

A cell that begins with `=`, `+`, `-`, `@`, TAB, CR or LF would be taken for a formula; it gets a leading `'` (OWASP,
CSV Injection). Every cell stands in quotes, and quotes inside it are doubled (RFC 4180, 2.5 to 2.7).
"""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["csv_line", "guard", "unguard"]

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def guard(text: str) -> str:
    """The text as a cell that no spreadsheet takes for a formula."""
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def unguard(text: str) -> str:
    """Undo `guard`; any other leading `'` is the text's own."""
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA_STARTS) else text


def csv_line(cells: Iterable[str]) -> str:
    """One row, with its line end."""
    return ",".join(_cell(cell) for cell in cells) + "\r\n"


def _cell(text: str) -> str:
    return '"' + guard(text).replace('"', '""') + '"'
