"""Workbooks as independent libraries write them (openpyxl, odfpy), and XLSX parts written by hand.

A sheet is a name and its rows; a cell is text, a number, a logical value, a date, a time, or None for nothing. Text
that begins with `=` becomes a formula without a result, which is what programs that don't calculate leave behind.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, time
from functools import partial

import openpyxl
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P
from openpyxl.utils.datetime import CALENDAR_MAC_1904

__all__ = ["WRITERS", "Cell", "Sheets", "raw_xlsx", "swap_part", "write_ods", "write_xlsx"]

Cell = str | int | float | bool | date | datetime | time | None
Sheets = Mapping[str, Sequence[Sequence[Cell]]]

_REST = 16_000  # the white rest of a row or sheet, as office suites write it


def write_xlsx(sheets: Sheets, *, from_1904: bool = False, hidden: Sequence[str] = ()) -> bytes:
    """An XLSX file by openpyxl."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    if from_1904:
        book.epoch = CALENDAR_MAC_1904
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
        if name in hidden:
            sheet.sheet_state = "hidden"
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def write_ods(sheets: Sheets) -> bytes:
    """An ODS file by odfpy, with a long white rest after each row and below the last."""
    document = OpenDocumentSpreadsheet()
    for name, rows in sheets.items():
        table = Table(name=name)
        for row in rows:
            written = TableRow()
            for cell in row:
                written.addElement(_ods_cell(cell))
            written.addElement(TableCell(numbercolumnsrepeated=_REST))
            table.addElement(written)
        rest = TableRow(numberrowsrepeated=1_040_000)
        rest.addElement(TableCell(numbercolumnsrepeated=_REST))
        table.addElement(rest)
        document.spreadsheet.addElement(table)
    file = io.BytesIO()
    document.write(file)
    return file.getvalue()


def _ods_cell(value: Cell) -> TableCell:
    if isinstance(value, str) and value.startswith("="):
        return TableCell(formula=f"of:{value}")
    shown = str(value)
    if isinstance(value, bool):
        cell = TableCell(valuetype="boolean", booleanvalue=str(value).lower())
    elif isinstance(value, int | float):
        cell = TableCell(valuetype="float", value=repr(value))
    elif isinstance(value, date):
        cell = TableCell(valuetype="date", datevalue=value.isoformat())
        shown = value.strftime("%d/%m/%y")
    elif isinstance(value, time):
        cell = TableCell(valuetype="time", timevalue=value.strftime("PT%HH%MM%SS"))
    elif value:
        cell = TableCell(valuetype="string")
    else:
        return TableCell()
    cell.addElement(P(text=shown))
    return cell


WRITERS: Mapping[str, Callable[[Sheets], bytes]] = {"xlsx": partial(write_xlsx), "ods": write_ods}


def raw_xlsx(sheet_data: str, *, extra: Mapping[str, bytes] | None = None) -> bytes:
    """An XLSX file whose only sheet holds this content of `sheetData`, in the smallest form that ECMA-376 allows."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    package = "http://schemas.openxmlformats.org/package/2006"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"

    def relations(kind: str, target: str) -> str:
        one = f'<Relationship Id="r1" Type="{office}/{kind}" Target="{target}"/>'
        return f'<Relationships xmlns="{package}/relationships">{one}</Relationships>'

    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types"/>',
        "_rels/.rels": relations("officeDocument", "xl/workbook.xml"),
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
        '<sheet name="roster" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": relations("worksheet", "worksheets/sheet1.xml"),
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{main}"><sheetData>{sheet_data}</sheetData></worksheet>',
    }
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
        for name, data in (extra or {}).items():
            archive.writestr(name, data)
    return file.getvalue()


def swap_part(data: bytes, name: str, change: Callable[[bytes], bytes] | None) -> bytes:
    """The archive with one part changed, or with None left out."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            content = old.read(entry)
            if entry.filename != name:
                new.writestr(entry, content)
            elif change is not None:
                new.writestr(entry.filename, change(content))
    return file.getvalue()
