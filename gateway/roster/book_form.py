"""A roster kept as CSV and TOML as one workbook that says the same: what is exported for a spreadsheet.

Every cell is a text, days are date cells, groups, kinds and labels are sheets; so reading the workbook finds the same
roster. Comments of the groups file have no place in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from gateway.domain.transmitter import BUILT_IN_KINDS, write_serial
from gateway.errors import Refused
from gateway.roster.columns import is_known, match_header
from gateway.roster.csv_table import read_csv
from gateway.roster.findings import Findings
from gateway.roster.groups import Groups
from gateway.roster.groups_sheet import GROUP_COLUMNS, KIND_COLUMNS, LABEL_COLUMNS
from gateway.roster.groups_toml import read_groups
from gateway.roster.names import ReceiverNames
from gateway.roster.ods_writing import render_ods
from gateway.roster.sheet_writing import ColumnType, WrittenSheet, writable
from gateway.roster.workbook import GROUPS_SHEET, KINDS_SHEET, LABELS_SHEET
from gateway.roster.writing import group_rights, write_cell
from gateway.roster.xlsx_writing import render_xlsx

__all__ = ["BOOK_FORMS", "book_form"]

BOOK_FORMS: dict[str, Callable[[Sequence[WrittenSheet]], bytes]] = {"xlsx": render_xlsx, "ods": render_ods}
_DATES = ("valid_from", "valid_until")


def book_form(text: str, groups: bytes | None, form: str) -> bytes:
    """The workbook of a roster's text and its groups file, which are good; `form` is one of `BOOK_FORMS`.

    Raises Refused with `workbook-unfit` for a character that no workbook can hold.
    """
    sheets = [_roster(text), *_named_sheets(groups)]
    for sheet in sheets:
        for row in sheet.rows:
            for cell in row:
                if not writable(cell):
                    raise _unfit(sheet.name, row)
    return BOOK_FORMS[form](sheets)


def _roster(text: str) -> WrittenSheet:
    rows = [row.cells for row in read_csv(text, is_known).rows if not row.blank]
    header = match_header(rows[0])
    types = tuple(ColumnType.DATE if label in _DATES else ColumnType.TEXT for label in header.labels)
    return WrittenSheet("roster", [[cell.strip() for cell in row[: len(types)]] for row in rows], types)


def _named_sheets(data: bytes | None) -> Iterable[WrittenSheet]:
    """Those of groups and kinds always, so that people can fill them in."""
    found = Groups() if data is None else read_groups(data, ReceiverNames(None), Findings(""))
    yield _sheet(GROUPS_SHEET, GROUP_COLUMNS, _group_rows(found))
    kinds = [kind for kind in found.kinds.values() if BUILT_IN_KINDS.get(kind.name) != kind]
    yield _sheet(KINDS_SHEET, KIND_COLUMNS, ([kind.name, " ".join(kind.positions)] for kind in kinds))
    if any(found.labels.values()):
        yield _sheet(LABELS_SHEET, LABEL_COLUMNS, _label_rows(found))


def _group_rows(found: Groups) -> Iterable[Sequence[str]]:
    for group, rights in found.groups.items():
        if not rights:
            yield [group, "", "", ""]
        for receiver, positions in group_rights(rights).items():
            for position, outputs in positions.items():
                yield [group, receiver, position, " ".join(outputs)]


def _label_rows(found: Groups) -> Iterable[Sequence[str]]:
    for receiver, names in found.labels.items():
        for serial, label in names.items():
            yield [receiver, write_serial(serial), label]


def _sheet(name: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> WrittenSheet:
    cells = [[write_cell(column, text) for column, text in zip(columns, row, strict=True)] for row in rows]
    return WrittenSheet(name, (columns, *cells), (ColumnType.TEXT,) * len(columns))


def _unfit(sheet: str, row: Sequence[str]) -> Refused:
    return Refused(
        f"The sheet {sheet} would have a control character, in the row {' '.join(row).strip()[:60]!a}.",
        remedy="Take the character out, or export the roster as CSV and TOML.",
        code="workbook-unfit",
    )
