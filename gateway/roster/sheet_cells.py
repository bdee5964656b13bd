"""The cells of one sheet of a workbook, gathered to a table; nothing is reserved for the white between them.

A workbook may say that a cell stands in row 1,048,576 or is repeated a milliard times, in a hundred bytes; so places
are checked as they come, and only filled cells take memory.
"""

from __future__ import annotations

from gateway.roster.cell_values import Cell
from gateway.roster.cells import Wrong
from gateway.roster.table import Row, Table
from gateway.roster.unreadable import Unreadable

__all__ = ["MAX_CELLS", "SheetCells"]

MAX_ROWS = 25_000  # as in CSV: our choice, five times the largest roster planned for
MAX_COLUMNS = 256
MAX_CELLS = 250_000  # our choice: 25,000 rows of ten columns; each takes some 100 bytes of memory


class SheetCells:
    """Filled cells by place; rows and columns are counted from 0 here."""

    def __init__(self) -> None:
        self._rows: dict[int, dict[int, Cell]] = {}
        self._count = 0

    def put(self, row: int, column: int, cell: Cell, rows: int = 1, columns: int = 1) -> None:
        """This cell, in a block of so many rows and columns. Raises Unreadable when the sheet becomes too large."""
        if row + rows > MAX_ROWS:
            remedy = "delete what stands far below the roster, or split the roster"
            raise Unreadable(Wrong(f"a cell in row {row + rows}, and a roster has at most {MAX_ROWS}", remedy))
        if column + columns > MAX_COLUMNS:
            remedy = "delete what stands far to the right of the roster"
            raise Unreadable(Wrong(f"a cell in column {column + columns}, and at most {MAX_COLUMNS} are read", remedy))
        self._count += rows * columns
        if self._count > MAX_CELLS:
            raise Unreadable(Wrong(f"more than {MAX_CELLS} filled cells", "delete what does not belong to the roster"))
        for number in range(row, row + rows):
            self._rows.setdefault(number, {}).update(dict.fromkeys(range(column, column + columns), cell))

    def table(self) -> Table:
        """The rows in which something stands, with the numbers that a spreadsheet shows."""
        return Table(tuple(_row(number, cells) for number, cells in sorted(self._rows.items())))


def _row(number: int, cells: dict[int, Cell]) -> Row:
    texts = [""] * (max(cells) + 1)
    for column, cell in cells.items():
        texts[column] = cell.text
    return Row(
        number + 1,
        tuple(texts),
        {column: cell.wrong for column, cell in cells.items() if cell.wrong is not None},
        frozenset(column for column, cell in cells.items() if cell.is_date),
    )
