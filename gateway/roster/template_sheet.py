"""A sheet of a template: rows of texts, and the type that each whole column has. Knows no file format."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["ColumnType", "TemplateSheet", "column_width"]


class ColumnType(StrEnum):
    """What new cells of a column are."""

    TEXT = "text"
    DATE = "date"


@dataclass(frozen=True, slots=True)
class TemplateSheet:
    """One tab. The first row is its header; `types` has one type for each column."""

    name: str
    rows: Sequence[Sequence[str]]
    types: Sequence[ColumnType]


def column_width(sheet: TemplateSheet, column: int) -> int:
    """How many characters wide a column should be shown: 12 to 90."""
    return min(90, max(12, *(len(row[column]) + 2 for row in sheet.rows)))
