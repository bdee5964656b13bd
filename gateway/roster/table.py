"""A sheet as rows of text cells: what every kind of roster file is turned into before it is read.

`number` is the row number that a spreadsheet shows. A cell with line breaks in it is still one row, and blank
rows count though nothing stands in them. Whoever reads another kind of file makes the same table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.roster.cells import Wrong, is_blank

__all__ = ["Problem", "Row", "Table"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row; its cells as they stand in the file.

    A spreadsheet's cells have types: `wrong` holds those that can't be a text (they count only in known columns),
    `dates` those that are date cells. In a CSV all is text.
    """

    number: int
    cells: tuple[str, ...]
    wrong: Mapping[int, Wrong] = field(default_factory=dict)
    dates: frozenset[int] = frozenset()

    @property
    def blank(self) -> bool:
        return all(map(is_blank, self.cells))


@dataclass(frozen=True, slots=True)
class Problem:
    """A place where the file itself is broken. `column` counts from 0; None means the whole row."""

    row: int
    column: int | None
    found: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Table:
    """All rows, blank ones too, without the broken ones, which are in `problems`.

    `open_end` says that the last row has no line end: nothing is wrong with that, and yet a file that was cut
    looks the same.
    """

    rows: tuple[Row, ...]
    problems: tuple[Problem, ...] = ()
    open_end: bool = False
