"""Text tables that are safe to open in a spreadsheet.

A cell that begins with `=`, `+`, `-`, `@`, TAB, CR or LF would be taken for a formula; it gets a leading `'` (OWASP,
CSV Injection). Every cell stands in quotes, and quotes inside it are doubled (RFC 4180, 2.5 to 2.7).
"""

from __future__ import annotations

from collections.abc import Iterable

__all__ = ["csv_line"]

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_line(cells: Iterable[str]) -> str:
    """One row, with its line end."""
    return ",".join(_cell(cell) for cell in cells) + "\r\n"


def _cell(text: str) -> str:
    guarded = "'" + text if text.startswith(_FORMULA_STARTS) else text
    return '"' + guarded.replace('"', '""') + '"'
