"""A workbook as the CSV and TOML that say the same: the form in which a gateway keeps a roster itself.

What the check of the workbook found good is written again cell by cell, so that the check of the text finds the same
roster. Blank rows go; columns of one's own stay. Nothing is checked here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gateway.domain.spreadsheet import guard
from gateway.domain.transmitter import write_serial
from gateway.ports import RosterPair
from gateway.roster.cells import Wrong, clean
from gateway.roster.columns import Header, match_header
from gateway.roster.findings import Findings
from gateway.roster.groups import GroupLine
from gateway.roster.groups_sheet import read_group_lines, read_kind_lines, read_labels
from gateway.roster.serials import read_serial
from gateway.roster.table import Row, Table
from gateway.roster.workbook import Workbook, is_workbook, read_workbook
from gateway.roster.writing import groups_toml, write_csv

__all__ = ["text_form"]


def text_form(pair: RosterPair) -> RosterPair:
    """The same roster as text; the pair itself where it is text, or a workbook that nobody can read."""
    book = read_workbook(pair.roster) if is_workbook(pair.roster) else None
    if book is None or isinstance(book, Wrong):
        return pair
    return RosterPair(write_csv(_rows(book.roster)), _groups(book) if book.has_groups else pair.groups)


def _rows(table: Table) -> Iterable[Sequence[str]]:
    rows = [row for row in table.rows if not row.blank]
    if not rows:
        return
    header = match_header(rows[0].cells)
    places = [place for place in range(len(header.labels)) if place not in header.unnamed]
    yield [_plain(rows[0].cells[place]) for place in places]
    for row in rows[1:]:
        yield [_cell(row, place, header) for place in places]


def _cell(row: Row, place: int, header: Header) -> str:
    raw = row.cells[place] if place < len(row.cells) else ""
    column = header.labels[place]
    if column not in header.index:
        return guard(raw)
    text = _plain(raw)
    serial = read_serial(text) if column == "serial" else None
    return write_serial(serial) if isinstance(serial, int) else guard(text)


def _plain(raw: str) -> str:
    cleaned = clean(raw)
    return raw if isinstance(cleaned, Wrong) else cleaned


def _groups(book: Workbook) -> bytes:
    aside = Findings("")
    lines = [] if book.groups is None else read_group_lines(book.groups, aside)
    kinds = [] if book.kinds is None else read_kind_lines(book.kinds, aside)
    labels = {} if book.labels is None else read_labels(book.labels, aside)
    return groups_toml(
        _group_tables(lines),
        {line.kind: line.positions for line in kinds},
        {
            receiver: {write_serial(serial): label for serial, label in names.items()}
            for receiver, names in labels.items()
        },
    )


def _group_tables(lines: Iterable[GroupLine]) -> dict[str, dict[str, dict[str, list[str]]]]:
    """Outputs by position by receiver by group, each as it is written."""
    groups: dict[str, dict[str, dict[str, list[str]]]] = {}
    for line in lines:
        of_group = groups.setdefault(line.group, {})
        if line.position:
            outputs = of_group.setdefault(line.receiver, {}).setdefault(line.position, [])
            outputs += [output for output in line.outputs if output not in outputs]
    return groups
