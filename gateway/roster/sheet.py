"""The shape of a sheet: whether every row fits under its header, and whether the file is whole.

Rows shorter than the header are read as if the missing cells were empty, because spreadsheets leave out
separators at the end of rows. The last row is different: without a line end and with cells missing it is a
row that was cut, and what is missing could be the day on which somebody's access ends.
"""

from __future__ import annotations

import re

from gateway.roster.cells import Wrong, column_letter, is_blank, show
from gateway.roster.columns import Header
from gateway.roster.decoding import AS_UTF8
from gateway.roster.findings import Findings
from gateway.roster.table import Row, Table

__all__ = ["check_shape", "report_problems", "without_undecodable"]

_UNDECODABLE = re.compile("[\udc80-\udcff]")
_CUT = "save or copy the whole file again; end the last row with a line end"


def report_problems(table: Table, header: Header | None, findings: Findings) -> None:
    """What could not even be cut into cells."""
    for problem in table.problems:
        place = problem.column
        label = "" if place is None else header.label(place) if header else column_letter(place)
        findings.fault(problem.row, label, Wrong(problem.found, problem.remedy))


def check_shape(table: Table, header: Header, findings: Findings) -> None:
    """Text outside the named columns, and a last row that was cut."""
    width = len(header.labels)
    for row in table.rows:
        for place in header.unnamed:
            if place < len(row.cells) and not is_blank(row.cells[place]):
                wrong = Wrong(f"{show(row.cells[place])} in a column without a name", "name the column, or empty it")
                findings.fault(row.number, column_letter(place), wrong)
        beyond = [place for place in range(width, len(row.cells)) if not is_blank(row.cells[place])]
        if beyond:
            found = f"{show(row.cells[beyond[0]])} beyond the last column"
            remedy = "put a cell in quotes if the separator belongs to its text, or name the column"
            findings.fault(row.number, column_letter(beyond[0]), Wrong(found, remedy))
    if table.open_end:
        _check_last(table.rows[-1], header, findings)


def _check_last(row: Row, header: Header, findings: Findings) -> None:
    width = len(header.labels)
    if row.blank:
        return
    if len(row.cells) < width:
        found = f"a last row that is cut: {len(row.cells)} of {width} cells and no line end"
        findings.fault(row.number, header.label(len(row.cells) - 1), Wrong(found, _CUT))
        return
    last = header.label(width - 1)
    text = row.cells[width - 1].strip()
    if last == "serial" and len(text) < 10:
        wrong = Wrong(f"a last row that may be cut: the serial {show(text)} and no line end", _CUT)
        findings.fault(row.number, last, wrong)
    elif last in header.index and last != "note":
        wrong = Wrong(f"no line end after the last cell, {show(text)}", "look whether the file is whole")
        findings.warn(row.number, last, wrong)


def without_undecodable(rows: list[Row], header: Header, findings: Findings, offset: int, value: int) -> list[Row]:
    """Report the first byte that isn't UTF-8, and put `?` for all of them so that the rest can be checked."""
    cells = [
        (row.number, place, cell)
        for row in rows
        for place, cell in enumerate(row.cells)
        if not cell.isascii() and _UNDECODABLE.search(cell)
    ]
    found = f"byte 0x{value:02X} at offset {offset}, which is not UTF-8"
    number, place = 0, 0
    if cells:
        number, place, cell = cells[0]
        found += f", in {show(_UNDECODABLE.sub('?', cell))}"
    if len(cells) > 1:
        found += f"; {len(cells) - 1} more cells are like this"
    remedy = f"{AS_UTF8}, or name the file's encoding: encoding in the settings, --encoding of roster check"
    findings.fault(number, header.label(place) if cells else "", Wrong(found, remedy))
    return [Row(row.number, tuple(_UNDECODABLE.sub("?", cell) for cell in row.cells)) for row in rows]
