"""ODS documents: their sheets, and the cells of those that are wanted.

All sheets stand in one part, `content.xml`. A cell and a row may say how often they are repeated; what is repeated
and empty is only the white rest of the sheet. Comments and drawings inside of a cell are not its text.

Source: OpenDocument 1.2 part 1, 6.1 (white space), 9.1.2 to 9.1.5 (tables, rows, cells), 19.385 (value types), 20.383
(`table:display`); the value type `error` is LibreOffice's extension (calcext). The prefixes are those of the standard,
which every office suite writes.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime

from gateway.roster.cell_values import (
    Cell,
    date_cell,
    failed_formula,
    logical,
    number,
    time_of_day,
    uncalculated,
    unknown_type,
)
from gateway.roster.cells import Wrong, show
from gateway.roster.sheet_cells import SheetCells
from gateway.roster.unreadable import broken
from gateway.roster.xml_events import read_xml

__all__ = ["ODS_MIMETYPES", "OdsSheet", "read_ods"]

ODS_MIMETYPES = tuple(f"application/vnd.oasis.opendocument.spreadsheet{end}".encode() for end in ("", "-template"))
_CELLS = ("table-cell", "covered-table-cell")
_NOT_THE_CELL = frozenset(
    ("annotation", "frame", "shapes", "custom-shape", "control", "detective", "forms", "tracked-changes", "dde-links")
)
_REPEATED = re.compile(r"[1-9][0-9]{0,7}")
_MAX_SHEETS = 1000


@dataclass(frozen=True, slots=True)
class OdsSheet:
    """One tab, and what was read of it: nothing where it isn't wanted."""

    name: str
    visible: bool
    wanted: bool
    cells: SheetCells = field(default_factory=SheetCells)


class _Document:
    """The events of `content.xml`."""

    def __init__(self, wanted_names: frozenset[str]) -> None:
        self.sheets: list[OdsSheet] = []
        self._wanted = set(wanted_names)
        self._path: list[str] = []
        self._skipping = 0
        self._style = ""
        self._hidden: set[str] = set()
        self._sheet: OdsSheet | None = None
        self._row = self._rows = self._column = self._columns = 0
        self._attributes: dict[str, str] | None = None
        self._text: list[str] = []

    def start(self, name: str, attributes: dict[str, str]) -> None:
        parent = self._path[-1] if self._path else ""
        self._path.append(name)
        if self._skipping or name in _NOT_THE_CELL:
            self._skipping += 1
        elif name == "table":
            self._start_table(parent, attributes)
        elif name == "style":
            self._style = attributes.get("style:name", "")
        elif name == "table-properties" and attributes.get("table:display") == "false":
            self._hidden.add(self._style)
        elif self._sheet is not None:
            self._start_inside(name, attributes)

    def _start_table(self, parent: str, attributes: dict[str, str]) -> None:
        if parent != "spreadsheet" or len(self.sheets) == _MAX_SHEETS:
            raise broken("a table inside of another one, or too many of them")
        visible = attributes.get("table:style-name", "") not in self._hidden
        name = attributes.get("table:name", "")
        folded = name.strip().casefold()
        self._sheet = OdsSheet(name, visible, not self.sheets or folded in self._wanted)
        self._wanted.discard(folded)
        self.sheets.append(self._sheet)
        self._row = 0

    def _start_inside(self, name: str, attributes: dict[str, str]) -> None:
        if name == "table-row":
            self._rows, self._column = _repeated(attributes, "table:number-rows-repeated"), 0
        elif name in _CELLS:
            self._attributes = attributes
            self._columns = _repeated(attributes, "table:number-columns-repeated")
            self._text.clear()
        elif self._attributes is not None:
            if name == "p" and self._text:
                self._text.append("\n")
            elif name == "s":
                self._text.append(" " * min(_repeated(attributes, "text:c"), 1000))
            elif name in ("tab", "line-break"):
                self._text.append("\t" if name == "tab" else "\n")

    def text(self, text: str) -> None:
        if self._attributes is not None and not self._skipping and "p" in self._path:
            self._text.append(text)

    def end(self, name: str) -> None:
        self._path.pop()
        if self._skipping:
            self._skipping -= 1
        elif name == "table":
            self._sheet = None
        elif name == "table-row":
            self._row += self._rows
        elif name in _CELLS and self._sheet is not None and self._attributes is not None:
            self._end_cell(self._sheet, self._attributes)
            self._column += self._columns
            self._attributes = None

    def _end_cell(self, sheet: OdsSheet, attributes: dict[str, str]) -> None:
        cell = _cell(attributes, "".join(self._text))
        if cell.text and sheet.wanted:
            sheet.cells.put(self._row, self._column, cell, self._rows, self._columns)


def _cell(attributes: dict[str, str], text: str) -> Cell:
    kind = attributes.get("office:value-type", "")
    if "error" in (kind, attributes.get("calcext:value-type")):
        return failed_formula(text.strip())
    if not kind:
        if "table:formula" in attributes:
            return uncalculated()
        return (
            Cell(text, Wrong(f"{show(text)} in a cell without a type", "type it again, and save")) if text else Cell("")
        )
    if kind == "string":
        return _string(attributes.get("office:string-value"), text)
    read = _TYPED.get(kind)
    try:
        return read(attributes) if read is not None else unknown_type(kind)
    except (KeyError, ValueError):
        return unknown_type(kind)


def _string(held: str | None, shown: str) -> Cell:
    """What is held and what people see are the same, or nobody could find the difference."""
    if held is None or held.split() == shown.split():
        return Cell(shown)
    found = f"a cell that shows {show(shown)} and holds {show(held)}"
    return Cell(shown or held, Wrong(found, "type the cell again"))


def _float(attributes: dict[str, str]) -> Cell:
    value = float(attributes["office:value"])
    if not math.isfinite(value):
        raise ValueError("no finite number")
    return number(value)


def _date(attributes: dict[str, str]) -> Cell:
    text = attributes["office:date-value"]
    if len(text) == len("2026-10-31"):
        return date_cell(date.fromisoformat(text))
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is not None:
        raise ValueError("a spreadsheet's times have no offset")
    return date_cell(moment)


_TYPED: dict[str, Callable[[dict[str, str]], Cell]] = {
    "float": _float,
    "percentage": _float,
    "currency": _float,
    "date": _date,
    "time": lambda attributes: time_of_day(attributes.get("office:time-value", "")),
    "boolean": lambda attributes: logical(attributes.get("office:boolean-value") == "true"),
    "void": lambda attributes: Cell(""),
}


def _repeated(attributes: dict[str, str], name: str) -> int:
    text = attributes.get(name, "1")
    if not _REPEATED.fullmatch(text):
        raise broken(f"something repeated {text[:20]!r} times")
    return int(text)


def read_ods(content: bytes, wanted_names: frozenset[str]) -> list[OdsSheet]:
    """Every sheet, in the order of the tabs; read are the first one and one of each wanted name. Raises Unreadable."""
    document = _Document(wanted_names)
    read_xml(content, "content.xml", document)
    return document.sheets
