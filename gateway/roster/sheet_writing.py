"""A sheet as it is written: rows of texts, and the type that each whole column has. Knows no file format."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

__all__ = ["ColumnType", "WrittenSheet", "column_width", "day_of", "writable"]

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class ColumnType(StrEnum):
    """What the cells of a column are. In a date column a text that is a day becomes a date cell."""

    TEXT = "text"
    DATE = "date"


@dataclass(frozen=True, slots=True)
class WrittenSheet:
    """One tab. The first row is its header; `types` has one type for each column; rows may be shorter."""

    name: str
    rows: Sequence[Sequence[str]]
    types: Sequence[ColumnType]


def column_width(sheet: WrittenSheet, column: int) -> int:
    """How many characters wide a column should be shown: 12 to 90."""
    return min(90, max(12, *(len(row[column]) + 2 for row in sheet.rows if column < len(row)), 12))


def day_of(text: str, kind: ColumnType) -> date | None:
    """The day that a cell of this column is to hold; None where it holds its text."""
    if kind is not ColumnType.DATE or not _DAY.fullmatch(text):
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def writable(text: str) -> bool:
    """Whether XML 1.0 (2.2) can hold every character of it."""
    return (text.isascii() and text.isprintable()) or _NOT_IN_XML.search(text) is None
