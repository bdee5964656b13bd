"""XLSX workbooks: their sheets by name, and the cells of one sheet.

Source: ECMA-376 Part 1, 18.2.19 and 18.2.28 (sheets, date system), 18.3.1.4 (c), 18.3.1.40 (f), 18.4.8 (si),
18.18.11 (types of cells), 22.9.2.19 (`_x000D_` in texts); Part 2, 9.3 (relationships). Every office suite names the
main part `xl/workbook.xml`.
"""

from __future__ import annotations

import posixpath
import re
from dataclasses import dataclass
from datetime import date, datetime

from gateway.roster.cell_values import Cell, date_cell, failed_formula, logical, number, uncalculated, unknown_type
from gateway.roster.sheet_cells import MAX_CELLS, SheetCells
from gateway.roster.table import Table
from gateway.roster.unreadable import broken
from gateway.roster.xlsx_styles import day_number, read_styles
from gateway.roster.xml_events import read_xml
from gateway.roster.zip_parts import ZipParts

__all__ = ["WORKBOOK", "SheetPlace", "Xlsx"]

WORKBOOK = "xl/workbook.xml"
_RELATIONS = "xl/_rels/workbook.xml.rels"
_STRINGS = "xl/sharedStrings.xml"
_STYLES = "xl/styles.xml"
_SMALL = 1 << 20
_REFERENCE = re.compile(r"([A-Z]{1,3})([1-9][0-9]{0,6})")
_ROW = re.compile(r"[1-9][0-9]{0,6}")
_INDEX = re.compile(r"[0-9]{1,9}")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


@dataclass(frozen=True, slots=True)
class SheetPlace:
    """One tab: where its part is, whether people see it, whether it is a table of cells at all."""

    name: str
    part: str
    visible: bool
    is_table: bool


class Xlsx:
    """One workbook, opened. Raises Unreadable."""

    def __init__(self, parts: ZipParts) -> None:
        self._parts = parts
        contents, relations = _Contents(), _Relations()
        read_xml(parts.take(WORKBOOK, _SMALL), WORKBOOK, contents)
        read_xml(parts.take(_RELATIONS, _SMALL), _RELATIONS, relations)
        self._from_1904 = contents.from_1904
        self.sheets = tuple(_place(attributes, relations) for attributes in contents.sheets)
        self._strings: list[str] | None = None
        self._dates: frozenset[int] | None = None

    def table(self, place: SheetPlace) -> Table:
        """The cells of one sheet."""
        if self._dates is None:
            self._dates = read_styles(self._parts.take(_STYLES)) if _STYLES in self._parts else frozenset()
        if self._strings is None:
            self._strings = _read_strings(self._parts) if _STRINGS in self._parts else []
        cells = _Cells(self._strings, self._dates, self._from_1904)
        read_xml(self._parts.take(place.part), place.part, cells)
        return cells.found.table()


class _Contents:
    """The events of the main part."""

    def __init__(self) -> None:
        self.sheets: list[dict[str, str]] = []
        self.from_1904 = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "sheet":
            self.sheets.append(attributes)
        elif name == "workbookPr":
            self.from_1904 = attributes.get("date1904", "0") in ("1", "true", "on")

    def end(self, name: str) -> None: ...

    def text(self, text: str) -> None: ...


class _Relations:
    """The events of the relationships: kind and target by id."""

    def __init__(self) -> None:
        self.targets: dict[str, tuple[str, str]] = {}

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "Relationship":
            self.targets[attributes.get("Id", "")] = attributes.get("Type", ""), attributes.get("Target", "")

    def end(self, name: str) -> None: ...

    def text(self, text: str) -> None: ...


def _place(attributes: dict[str, str], relations: _Relations) -> SheetPlace:
    relation = next((value for key, value in attributes.items() if key.endswith(":id")), "")
    kind, target = relations.targets.get(relation, ("", ""))
    part = posixpath.normpath(posixpath.join("/xl", target)).lstrip("/")
    visible = attributes.get("state", "visible") == "visible"
    return SheetPlace(attributes.get("name", ""), part, visible, kind.endswith("/worksheet"))


class _Strings:
    """The events of the shared strings."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self._text = _Text()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "si":
            self._text = _Text()
        self._text.start(name)

    def text(self, text: str) -> None:
        self._text.text(text)

    def end(self, name: str) -> None:
        self._text.end(name)
        if name == "si":
            if len(self.found) >= MAX_CELLS:
                raise broken(f"more than {MAX_CELLS} texts")
            self.found.append(self._text.whole)


def _read_strings(parts: ZipParts) -> list[str]:
    strings = _Strings()
    read_xml(parts.take(_STRINGS), _STRINGS, strings)
    return strings.found


class _Text:
    """The text of `si` or `is`: all runs together, without the reading aids of East Asian writing (rPh)."""

    def __init__(self) -> None:
        self._pieces: list[str] = []
        self._in_text = False
        self._aside = 0

    @property
    def whole(self) -> str:
        return _ESCAPED.sub(_unescaped, "".join(self._pieces))

    def start(self, name: str) -> None:
        self._in_text = self._in_text or name == "t"
        self._aside += name == "rPh"

    def end(self, name: str) -> None:
        self._in_text = self._in_text and name != "t"
        self._aside -= name == "rPh"

    def text(self, text: str) -> None:
        if self._in_text and not self._aside:
            self._pieces.append(text)


def _unescaped(match: re.Match[str]) -> str:
    code = int(match[1], 16)
    return match[0] if 0xD800 <= code < 0xE000 else chr(code)


class _Cells:
    """The events of one sheet."""

    def __init__(self, strings: list[str], dates: frozenset[int], from_1904: bool) -> None:
        self.found = SheetCells()
        self._strings = strings
        self._dates = dates
        self._from_1904 = from_1904
        self._row = self._column = -1
        self._attributes: dict[str, str] | None = None
        self._value: list[str] | None = None
        self._in_value = self._formula = False
        self._inline: _Text | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "row":
            self._row, self._column = self._start_row(attributes.get("r")), -1
        elif name == "c":
            self._start_cell(attributes)
        elif self._attributes is not None:
            if name == "v":
                self._value, self._in_value = [], True
            elif name == "f":
                self._formula = True
            elif name == "is":
                self._inline = _Text()
            if self._inline is not None:
                self._inline.start(name)

    def _start_row(self, number: str | None) -> int:
        if number is None:
            return self._row + 1
        if not _ROW.fullmatch(number):
            raise broken(f"a row numbered {number[:20]!r}")
        return int(number) - 1

    def _start_cell(self, attributes: dict[str, str]) -> None:
        reference = attributes.get("r")
        if reference is None:
            self._column += 1
        else:
            match = _REFERENCE.fullmatch(reference)
            if match is None or int(match[2]) - 1 != self._row:
                raise broken(f"a cell placed at {reference[:20]!r}")
            self._column = _column(match[1])
        self._attributes, self._value, self._inline, self._formula = attributes, None, None, False

    def text(self, text: str) -> None:
        if self._in_value and self._value is not None:
            self._value.append(text)
        elif self._inline is not None:
            self._inline.text(text)

    def end(self, name: str) -> None:
        if self._attributes is None:
            return
        if name == "v":
            self._in_value = False
        elif self._inline is not None and name != "c":
            self._inline.end(name)
        elif name == "c":
            if self._value is not None or self._inline is not None or self._formula:
                cell = self._cell(self._attributes)
                if cell.text:
                    self.found.put(self._row, self._column, cell)
            self._attributes = None

    def _cell(self, attributes: dict[str, str]) -> Cell:
        kind, raw = attributes.get("t", "n"), "".join(self._value or ())
        if kind == "inlineStr" or (self._inline is not None and self._value is None):
            return Cell(self._inline.whole if self._inline is not None else "")
        if self._formula and (self._value is None or (kind != "str" and not raw.strip())):
            return uncalculated()
        if kind == "str":
            return Cell(_ESCAPED.sub(_unescaped, raw))
        return self._typed(kind, raw.strip(), attributes.get("s", "0")) if raw.strip() else Cell("")

    def _typed(self, kind: str, raw: str, style: str) -> Cell:
        if kind == "n":
            value = _float(raw)
            is_date = _INDEX.fullmatch(style) is not None and int(style) in self._dates
            return day_number(value, self._from_1904) if is_date else number(value)
        if kind == "s":
            if not _INDEX.fullmatch(raw) or int(raw) >= len(self._strings):
                raise broken(f"a cell with text number {raw[:20]!r}, which does not exist")
            return Cell(self._strings[int(raw)])
        if kind == "b":
            return logical(raw not in ("0", "false"))
        if kind == "e":
            return failed_formula(raw)
        return _iso(raw) if kind == "d" else unknown_type(kind)


def _float(raw: str) -> float:
    try:
        return float(raw)
    except ValueError as error:
        raise broken(f"a number written {raw[:20]!r}") from error


def _iso(raw: str) -> Cell:
    """A date cell of the strict form: a day, or a day and a time without an offset."""
    try:
        moment = datetime.fromisoformat(raw)
    except ValueError:
        return unknown_type(raw[:40])
    if moment.tzinfo is not None:
        return unknown_type(raw[:40])
    return date_cell(date.fromisoformat(raw) if len(raw) == len("2026-10-31") else moment)


def _column(letters: str) -> int:
    place = 0
    for letter in letters:
        place = place * 26 + ord(letter) - ord("A") + 1
    return place - 1
