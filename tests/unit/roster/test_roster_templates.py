"""Templates: opened by independent readers, with text and date columns, and good once somebody fills them in."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from odf.opendocument import load
from odf.table import Table, TableCell, TableColumn, TableRow
from odf.text import P
from python_calamine import CalamineWorkbook

from gateway.errors import Refused
from gateway.roster.columns import COLUMNS
from gateway.roster.reader import RosterFileReader
from gateway.roster.templates import TEMPLATE_ENDINGS, render_template, write_template

READER = RosterFileReader(ZoneInfo("Europe/Berlin"))
SHEETS = ["roster", "groups", "kinds", "explained"]


@pytest.mark.parametrize("ending", TEMPLATE_ENDINGS)
def test_an_empty_template_says_that_it_is_empty(ending: str) -> None:
    """Nothing else is wrong with it, and nothing in it could grant anything."""
    (fault,) = READER.check(render_template(ending), None, None).faults
    assert fault.found == "a header and no rows"


@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_python_calamine_reads_it(ending: str) -> None:
    """Sheets and headers as they were meant."""
    book = CalamineWorkbook.from_filelike(io.BytesIO(render_template(ending)))
    assert book.sheet_names == SHEETS
    assert [book.get_sheet_by_name(name).to_python()[0] for name in SHEETS[:3]] == [
        list(COLUMNS),
        ["group", "receiver", "position", "outputs"],
        ["kind", "positions"],
    ]


def test_xlsx_columns_have_their_types() -> None:
    """openpyxl sees text and date formats on whole columns; filled in as typed, the file is a good roster."""
    book = openpyxl.load_workbook(io.BytesIO(render_template(".xlsx")))
    assert book.sheetnames == SHEETS
    sheet = book["roster"]
    formats = {str(sheet.cell(1, n + 1).value): sheet.column_dimensions["ABCDEFGHI"[n]].number_format for n in range(9)}
    assert formats["serial"] == formats["group"] == "@"
    assert formats["valid_from"] == formats["valid_until"] == r"yyyy\-mm\-dd"
    sheet.append(["0048231907", "Berth 12", None, "berth-holders", None, None, None, date(2026, 10, 31)])
    book["groups"].append(["berth-holders", "slip-gate", "1", "gate"])
    filled = io.BytesIO()
    book.save(filled)
    check(filled.getvalue())


def test_ods_columns_have_their_types() -> None:
    """odfpy sees the default cell style of each column and its data style; filled in, the file is a good roster."""
    document = load(io.BytesIO(render_template(".ods")))
    tables = document.getElementsByType(Table)
    assert [table.getAttribute("name") for table in tables] == SHEETS
    columns = [column.getAttribute("defaultcellstylename") for column in tables[0].getElementsByType(TableColumn)]
    assert dict(zip(COLUMNS, columns, strict=True))["serial"] == "as-text"
    assert dict(zip(COLUMNS, columns, strict=True))["valid_until"] == "as-date"
    data_styles = {
        style.getAttribute("name"): style.getAttribute("datastylename") for style in document.automaticstyles.childNodes
        if style.tagName == "style:style"
    }  # fmt: skip
    assert (data_styles["as-text"], data_styles["as-date"]) == ("N-text", "N-date")
    row = ["0048231907", "Berth 12", "", "berth-holders", "", "", "", datetime(2026, 10, 31)]
    tables[0].addElement(_row(row))
    tables[1].addElement(_row(["berth-holders", "slip-gate", "1", "gate"]))
    filled = io.BytesIO()
    document.write(filled)
    check(filled.getvalue())


def _row(cells: list[Any]) -> TableRow:
    row = TableRow()
    for value in cells:
        if isinstance(value, datetime):
            row.addElement(TableCell(valuetype="date", datevalue=value.date().isoformat()))
        else:
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=value))
            row.addElement(cell)
    return row


def check(data: bytes) -> None:
    found = READER.check(data, None, None)
    assert found.faults == ()
    assert found.roster is not None
    assert found.roster.entries[0].valid_until == date(2026, 10, 31)
    assert [right.output for right in found.roster.entries[0].rights] == ["gate"]


def test_ods_names_its_type_first() -> None:
    """Uncompressed and at the very start, so that `file` and mail programs know it (OpenDocument 1.2 part 3, 3.3)."""
    data = render_template(".ods")
    assert data[30:84] == b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
    assert zipfile.ZipFile(io.BytesIO(data)).testzip() is None


def test_the_same_template_has_the_same_bytes() -> None:
    """No date of making in it."""
    assert [render_template(ending) for ending in TEMPLATE_ENDINGS] == [render_template(e) for e in TEMPLATE_ENDINGS]


def test_a_file_is_never_replaced(tmp_path: Path) -> None:
    """A template that overwrote a roster would empty it."""
    path = tmp_path / "people.XLSX"
    write_template(path)
    assert path.read_bytes() == render_template(".xlsx")
    with pytest.raises(Refused, match="exists already"):
        write_template(path)
    with pytest.raises(Refused, match="can't be written"):
        write_template(tmp_path / "no-folder" / "people.csv")
    with pytest.raises(Refused, match="no template") as error:
        write_template(tmp_path / "people.doc")
    assert ".ods" in error.value.remedy
