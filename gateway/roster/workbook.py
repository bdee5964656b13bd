"""XLSX and ODS workbooks to tables: the first sheet, and the sheets named `groups`, `kinds` and `labels`.

What a file is, its bytes decide and never its name. Row numbers are those that the spreadsheet shows. Hidden rows
count like others; a hidden first sheet is refused, since people would take the next one for the roster.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gateway.roster.cells import Wrong, show
from gateway.roster.ods import ODS_MIMETYPES, read_ods
from gateway.roster.table import Table
from gateway.roster.unreadable import Unreadable, broken
from gateway.roster.xlsx import WORKBOOK, SheetPlace, Xlsx
from gateway.roster.zip_parts import ZipParts

__all__ = ["GROUPS_SHEET", "KINDS_SHEET", "LABELS_SHEET", "Workbook", "is_workbook", "read_workbook"]

GROUPS_SHEET = "groups"
KINDS_SHEET = "kinds"
LABELS_SHEET = "labels"
_NAMED = (GROUPS_SHEET, KINDS_SHEET, LABELS_SHEET)
_ZIP = b"PK\x03\x04"
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # [MS-CFB] 2.2: the old binary workbook, and the shell of an encrypted one
_ENCRYPTED_PACKAGE = "EncryptedPackage".encode("utf-16-le")  # [MS-OFFCRYPTO] 2.3.1
_SAVE_AS = "save it as XLSX, ODS or CSV"
_PASSWORD = Wrong("a file protected by a password", "save it without a password")


@dataclass(frozen=True, slots=True)
class Workbook:
    """The sheets that a roster can have. The named ones are None when there is no such sheet."""

    roster: Table
    groups: Table | None = None
    kinds: Table | None = None
    labels: Table | None = None

    @property
    def has_groups(self) -> bool:
        """Whether any sheet says what the groups file would say."""
        return any(sheet is not None for sheet in (self.groups, self.kinds, self.labels))


@dataclass(frozen=True, slots=True)
class _Tab:
    """A sheet of either kind of workbook."""

    name: str
    visible: bool
    is_table: bool
    read: Callable[[], Table]

    @property
    def folded(self) -> str:
        return self.name.strip().casefold()


def is_workbook(data: bytes) -> bool:
    """Whether these bytes are a spreadsheet's own file (or another ZIP), rather than text."""
    return data.startswith((_ZIP, _OLE))


def read_workbook(data: bytes) -> Workbook | Wrong:
    """The tables of a workbook, or why it can't be read as a whole."""
    try:
        return _chosen(_tabs(data))
    except Unreadable as error:
        return error.wrong


def _tabs(data: bytes) -> list[_Tab]:
    if data.startswith(_OLE):
        if _ENCRYPTED_PACKAGE in data:
            raise Unreadable(_PASSWORD)
        raise Unreadable(Wrong("a spreadsheet workbook in its old binary form", _SAVE_AS))
    parts = ZipParts(data)
    if WORKBOOK in parts:
        book = Xlsx(parts)
        return [_xlsx_tab(book, place) for place in book.sheets]
    if "content.xml" in parts and "mimetype" in parts:
        return _ods_tabs(parts)
    if "xl/workbook.bin" in parts:
        raise Unreadable(Wrong("a spreadsheet workbook in a binary form (XLSB)", _SAVE_AS))
    raise Unreadable(Wrong("a ZIP file that is no XLSX or ODS workbook", _SAVE_AS))


def _xlsx_tab(book: Xlsx, place: SheetPlace) -> _Tab:
    return _Tab(place.name, place.visible, place.is_table, lambda: book.table(place))


def _ods_tabs(parts: ZipParts) -> list[_Tab]:
    if parts.take("mimetype", 1000).strip() not in ODS_MIMETYPES:
        raise Unreadable(Wrong("an office document that is no spreadsheet", _SAVE_AS))
    manifest = "META-INF/manifest.xml"
    if manifest in parts and b"encryption-data" in parts.take(manifest, 1 << 20):
        raise Unreadable(_PASSWORD)
    sheets = read_ods(parts.take("content.xml"), frozenset(_NAMED))
    return [_Tab(sheet.name, sheet.visible, True, sheet.cells.table) for sheet in sheets]


def _chosen(tabs: Sequence[_Tab]) -> Workbook:
    """The first sheet, and those with a name of ours. Raises Unreadable."""
    if not tabs:
        raise broken("it has no sheet")
    first = tabs[0]
    to_front = "move the sheet with the roster to the front"
    if not first.visible:
        raise Unreadable(Wrong(f"a hidden first sheet, {show(first.name)}", f"show it, or {to_front}"))
    if not first.is_table or first.folded in _NAMED:
        what = f"named {show(first.name)}" if first.is_table else f"that is no table, {show(first.name)}"
        raise Unreadable(Wrong(f"a first sheet {what}", to_front))
    return Workbook(first.read(), *(_sheet_named(tabs, name) for name in _NAMED))


def _sheet_named(tabs: Sequence[_Tab], name: str) -> Table | None:
    found = [tab for tab in tabs[1:] if tab.folded == name and tab.is_table]
    if len(found) > 1:
        raise Unreadable(Wrong(f"two sheets named {name}", "delete one of the two"))
    return found[0].read() if found else None
