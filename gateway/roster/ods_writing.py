"""Sheets as ODS: the fewest parts that OpenDocument asks for.

Source: OpenDocument 1.2 part 1, 9.1.6 (`table:default-cell-style-name` of a column), 16.27.11 (`number:text-style`),
16.27.10 (`number:date-style`), 6.1.2 (`text:s`: several blanks, and those at the ends); part 3, 2.2.4 and 3.3
(packages: `mimetype` stands first, uncompressed).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape, quoteattr

from gateway.roster.sheet_writing import ColumnType, WrittenSheet, column_width, day_of
from gateway.roster.xlsx_writing import pack

__all__ = ["render_ods"]

_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_MIMETYPE = "application/vnd.oasis.opendocument.spreadsheet"
_URN = "urn:oasis:names:tc:opendocument:xmlns"
_SPACES = " ".join(
    f'xmlns:{prefix}="{_URN}:{name}"'
    for prefix, name in (
        ("office", "office:1.0"),
        ("style", "style:1.0"),
        ("table", "table:1.0"),
        ("text", "text:1.0"),
        ("number", "datastyle:1.0"),
        ("fo", "xsl-fo-compatible:1.0"),
    )
)
_WIDTH_CM = 0.22  # of one character, roughly
_BLANKS = re.compile(r" {2,}|^ +| +$")
_CELL_STYLE = {ColumnType.TEXT: "as-text", ColumnType.DATE: "as-date"}
_STYLES = (
    '<number:text-style style:name="N-text"><number:text-content/></number:text-style>'
    '<number:date-style style:name="N-date"><number:year number:style="long"/><number:text>-</number:text>'
    '<number:month number:style="long"/><number:text>-</number:text><number:day number:style="long"/>'
    "</number:date-style>"
    '<style:style style:name="as-text" style:family="table-cell" style:data-style-name="N-text"/>'
    '<style:style style:name="as-date" style:family="table-cell" style:data-style-name="N-date"/>'
    '<style:style style:name="header" style:family="table-cell" style:data-style-name="N-text">'
    '<style:text-properties fo:font-weight="bold"/></style:style>'
)


def render_ods(sheets: Sequence[WrittenSheet]) -> bytes:
    """A document of these sheets."""
    widths = sorted({column_width(sheet, place) for sheet in sheets for place in range(len(sheet.types))})
    columns = "".join(
        f'<style:style style:name="width-{width}" style:family="table-column">'
        f'<style:table-column-properties style:column-width="{width * _WIDTH_CM:.2f}cm"/></style:style>'
        for width in widths
    )
    content = (
        f'<office:document-content {_SPACES} office:version="1.2"><office:automatic-styles>{_STYLES}{columns}'
        "</office:automatic-styles><office:body><office:spreadsheet>"
        f"{''.join(map(_table, sheets))}</office:spreadsheet></office:body></office:document-content>"
    )
    entries = "".join(
        f'<manifest:file-entry manifest:full-path="{path}" manifest:media-type="{kind}"/>'
        for path, kind in (("/", _MIMETYPE), ("content.xml", "text/xml"))
    )
    manifest = f'<manifest:manifest xmlns:manifest="{_URN}:manifest:1.0" manifest:version="1.2">{entries}'
    parts = {
        "mimetype": _MIMETYPE.encode(),
        "content.xml": (_XML + content).encode(),
        "META-INF/manifest.xml": f"{_XML}{manifest}</manifest:manifest>".encode(),
    }
    return pack(parts, stored=("mimetype",))


def _table(sheet: WrittenSheet) -> str:
    columns = "".join(
        f'<table:table-column table:style-name="width-{column_width(sheet, place)}" '
        f'table:default-cell-style-name="{_CELL_STYLE[kind]}"/>'
        for place, kind in enumerate(sheet.types)
    )
    rows = "".join(
        f"<table:table-row>{''.join(_cells(row, sheet.types, header=number == 0))}</table:table-row>"
        for number, row in enumerate(sheet.rows)
    )
    return f"<table:table table:name={quoteattr(sheet.name)}>{columns}{rows}</table:table>"


def _cells(row: Sequence[str], types: Sequence[ColumnType], *, header: bool) -> Iterator[str]:
    for text, kind in zip(row, types, strict=False):
        day = None if header else day_of(text, kind)
        style = "header" if header else _CELL_STYLE[ColumnType.TEXT if day is None else ColumnType.DATE]
        if day is not None:
            yield (
                f'<table:table-cell table:style-name="{style}" office:value-type="date" office:date-value="{day}">'
                f"<text:p>{day}</text:p></table:table-cell>"
            )
        elif text:
            lines = "".join(f"<text:p>{_line(line)}</text:p>" for line in text.splitlines() or [""])
            yield f'<table:table-cell table:style-name="{style}" office:value-type="string">{lines}</table:table-cell>'
        else:
            yield "<table:table-cell/>"


def _line(text: str) -> str:
    return _BLANKS.sub(lambda blanks: f'<text:s text:c="{len(blanks[0])}"/>', escape(text)).replace("\t", "<text:tab/>")
