"""A table whose first row names no column: one sentence about that, instead of one about every cell.

Titles above the header, a header that was left out, a cover sheet before the roster, a separator that is none: in each
case all cells of the first row would be unknown columns, and none of those faults would say what to do.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from gateway.roster.cells import Wrong, is_blank, show
from gateway.roster.columns import COLUMNS, is_known
from gateway.roster.table import Row

__all__ = ["misplaced_header"]

_LOOKED_AT = 50  # rows; our choice: more than a title, a date and a logo take
_NEEDED = 2  # names in a row that is taken for the header: one may be a word in a title
_SERIAL = re.compile(r"[0-9]{4,10}")
_NAMES = ", ".join(COLUMNS)


def misplaced_header(rows: Sequence[Row], *, is_workbook: bool) -> Wrong | None:
    """What is wrong with the first of these rows (none is blank); None when it names a column, or may be meant to."""
    first = [cell for cell in rows[0].cells if not is_blank(cell)]
    if any(map(is_known, first)):
        return None
    for row in rows[1:_LOOKED_AT]:
        if sum(map(is_known, row.cells)) >= _NEEDED:
            found = f"{show(first[0])} above the column names, which stand in row {row.number}"
            above = "row 1" if row.number == 2 else f"rows 1 to {row.number - 1}"
            return Wrong(found, f"delete {above}: the first row must hold the column names")
    front = "; if another sheet is the roster, move it to the front" if is_workbook else ""
    if any(_SERIAL.fullmatch(cell.strip().lstrip("'")) for cell in first):
        return Wrong(f"no column names above {show(first[0])}", f"insert a first row with the column names: {_NAMES}")
    if len(first) > 1:
        return None
    if "|" in first[0]:
        return Wrong(f"cells separated by |: {show(first[0])}", "separate cells by comma, semicolon or tab")
    return Wrong(f"a first row without column names: {show(first[0])}", f"write them there: {_NAMES}{front}")
