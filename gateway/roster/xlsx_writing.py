"""Sheets as XLSX: the fewest parts that ECMA-376 asks for.

Source: ECMA-376 Part 1, 18.3.1.13 (`col` with a style for all its cells), 18.8.30 (format 49 is text), 18.3.1.66
(`pane`), 18.17.4.1 (days are counted so that 1900-03-01 is 61), 22.9.2.19 (`_x000D_` in texts); Part 2, 9 (packages).
Dates in the archive are fixed, so the same sheets have the same bytes.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from xml.sax.saxutils import escape, quoteattr

from gateway.roster.cells import column_letter
from gateway.roster.sheet_writing import ColumnType, WrittenSheet, column_width, day_of

__all__ = ["pack", "render_xlsx"]

_XML = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_STYLE = {ColumnType.TEXT: 1, ColumnType.DATE: 2}
_BOLD_TEXT = 3
_DAY_ZERO = date(1899, 12, 30)
_LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_STYLES = (
    f'<styleSheet xmlns="{_MAIN}"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\\-mm\\-dd"/></numFmts>'
    '<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font>'
    '<font><b/><sz val="11"/><name val="Calibri"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>'
    "</fills><borders><border><left/><right/><top/><bottom/><diagonal/></border></borders>"
    '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
    '<cellXfs count="4"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
    '<xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
    '<xf numFmtId="49" fontId="1" fillId="0" borderId="0" xfId="0" applyNumberFormat="1" applyFont="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)


def render_xlsx(sheets: Sequence[WrittenSheet]) -> bytes:
    """A workbook of these sheets."""
    numbers = range(1, len(sheets) + 1)
    tabs = "".join(
        f'<sheet name={quoteattr(sheet.name)} sheetId="{n}" r:id="rId{n}"/>'
        for n, sheet in zip(numbers, sheets, strict=True)
    )
    targets = [("worksheet", f"worksheets/sheet{n}.xml") for n in numbers]
    kinds = [("/xl/workbook.xml", "sheet.main"), ("/xl/styles.xml", "styles")]
    kinds += [(f"/xl/worksheets/sheet{n}.xml", "worksheet") for n in numbers]
    overrides = "".join(f'<Override PartName="{part}" ContentType="{_TYPE}.{kind}+xml"/>' for part, kind in kinds)
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="xml" ContentType="application/xml"/>{overrides}</Types>',
        "_rels/.rels": _relations([("officeDocument", "xl/workbook.xml")]),
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>{tabs}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": _relations([*targets, ("styles", "styles.xml")]),
        "xl/styles.xml": _STYLES,
    }
    parts |= {f"xl/worksheets/sheet{n}.xml": _sheet(sheet) for n, sheet in zip(numbers, sheets, strict=True)}
    return pack({name: (_XML + content).encode() for name, content in parts.items()})


def _relations(targets: Sequence[tuple[str, str]]) -> str:
    listed = "".join(
        f'<Relationship Id="rId{n}" Type="{_OFFICE}/{kind}" Target="{target}"/>'
        for n, (kind, target) in enumerate(targets, 1)
    )
    return f'<Relationships xmlns="{_PACKAGE}/relationships">{listed}</Relationships>'


def _sheet(sheet: WrittenSheet) -> str:
    columns = "".join(
        f'<col min="{n}" max="{n}" width="{column_width(sheet, n - 1)}" style="{_STYLE[kind]}" customWidth="1"/>'
        for n, kind in enumerate(sheet.types, 1)
    )
    rows = "".join(
        f'<row r="{number}">{"".join(_cells(number, row, sheet.types))}</row>'
        for number, row in enumerate(sheet.rows, 1)
    )
    frozen = '<sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>'
    return (
        f'<worksheet xmlns="{_MAIN}"><sheetViews>{frozen}</sheetView></sheetViews>'
        f"<cols>{columns}</cols><sheetData>{rows}</sheetData></worksheet>"
    )


def _cells(number: int, row: Sequence[str], types: Sequence[ColumnType]) -> Iterator[str]:
    """The row's filled cells; row 1 is the header."""
    for place, text in enumerate(row):
        reference = f"{column_letter(place)}{number}"
        day = day_of(text, types[place]) if number > 1 else None
        if day is not None:
            yield f'<c r="{reference}" s="{_STYLE[ColumnType.DATE]}"><v>{(day - _DAY_ZERO).days}</v></c>'
        elif text:
            style = _BOLD_TEXT if number == 1 else _STYLE[ColumnType.TEXT]
            yield f'<c r="{reference}" s="{style}" t="inlineStr"><is><t xml:space="preserve">{_text(text)}</t></is></c>'


def _text(text: str) -> str:
    return escape(_LOOKS_ESCAPED.sub("_x005F_", text).replace("\r", "_x000D_"))


def pack(parts: Mapping[str, bytes], *, stored: Sequence[str] = ()) -> bytes:
    """An archive of these parts in this order; those in `stored` are not compressed."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in parts.items():
            method = zipfile.ZIP_STORED if name in stored else zipfile.ZIP_DEFLATED
            archive.writestr(zipfile.ZipInfo(name), content, compress_type=method)
    return file.getvalue()
