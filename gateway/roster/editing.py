"""Editing roster files as a person would: one cell, one row, one group; all else stays as it stands there.

Columns of one's own, the order of rows, comments in the groups file: nothing is lost. Separator and encoding become
those of `writing`. Nothing is checked here; the files are checked as a whole afterwards, as any file is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from gateway.domain.roster import Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import (
    AddRow,
    ChangeRow,
    FirstRoster,
    Memory,
    PutFiles,
    PutGroup,
    RemoveGroup,
    RemoveRow,
    RenameGroup,
    RosterEdit,
    RosterPair,
)
from gateway.roster.book_form import book_form
from gateway.roster.cells import clean
from gateway.roster.columns import COLUMNS, is_known, match_header
from gateway.roster.csv_table import read_csv
from gateway.roster.decoding import Decoded, decode
from gateway.roster.findings import Findings
from gateway.roster.first import first_roster
from gateway.roster.groups import Groups
from gateway.roster.groups_toml import read_groups
from gateway.roster.names import ReceiverNames
from gateway.roster.serials import read_serial
from gateway.roster.text_form import text_form
from gateway.roster.writing import position_table, rights_text, write_cell, write_csv

__all__ = ["FileEditor"]


class FileEditor:
    """`ports.RosterEditor` for CSV and TOML. `fallback_encoding` is the settings' for files that aren't UTF-8."""

    def __init__(self, fallback_encoding: str | None = None) -> None:
        self._fallback = fallback_encoding

    def edit(self, pair: RosterPair | None, current: Roster | None, edits: Sequence[RosterEdit]) -> RosterPair:
        """Raises NotFound, and Refused with `serial-known`, `group-known`, `group-in-use` or `groups-unwritable`."""
        for edit in edits:
            if isinstance(edit, PutFiles):
                pair = edit.pair
            elif isinstance(edit, AddRow | ChangeRow | RemoveRow):
                pair = self._edit_rows(pair, current, edit)
            else:
                pair = self._edit_groups(pair, edit)
        assert pair is not None
        return pair

    def text_form(self, pair: RosterPair, old: RosterPair | None) -> RosterPair:
        """Where the groups say what the old file says, the old file stays, with its comments."""
        text = text_form(pair)
        if text is pair or old is None or old.groups is None or text.groups is None:
            return text
        same = _groups_of(text.groups) == _groups_of(old.groups)
        return RosterPair(text.roster, old.groups) if same else text

    def book_form(self, pair: RosterPair, form: str) -> bytes:
        """Raises as `book_form`."""
        return book_form(self._text(pair), pair.groups, form)

    def first(self, memories: Sequence[Memory]) -> FirstRoster:
        """A roster that wants exactly what these memories hold."""
        return first_roster(memories)

    def _edit_rows(
        self, pair: RosterPair | None, current: Roster | None, edit: AddRow | ChangeRow | RemoveRow
    ) -> RosterPair:
        sheet = _Sheet(self._text(pair))
        groups = pair.groups if pair else None
        if isinstance(edit, AddRow):
            sheet.add(edit.serial, _wanted_cells(edit, current))
        elif isinstance(edit, ChangeRow):
            sheet.change(edit.serial, _wanted_cells(edit, current))
            if "holder" in edit.cells:
                groups = _without_labels(groups, edit.serial)
        else:
            sheet.remove(edit.serial)
            groups = _without_labels(groups, edit.serial)
        return RosterPair(sheet.write(), groups)

    def _edit_groups(self, pair: RosterPair | None, edit: PutGroup | RenameGroup | RemoveGroup) -> RosterPair:
        sheet = _Sheet(self._text(pair))
        document = _Document(pair.groups if pair else None)
        if isinstance(edit, PutGroup):
            document.put(edit.name, edit.rights)
        elif isinstance(edit, RenameGroup):
            document.rename(edit.name, edit.new)
            sheet.replace("group", edit.name, edit.new)
        else:
            if members := sheet.count("group", edit.name):
                raise Refused(
                    f"{members} transmitters are in the group {edit.name}.",
                    remedy="Move them to another group first.",
                    code="group-in-use",
                )
            document.remove(edit.name)
        return RosterPair(sheet.write() if sheet.changed or pair is None else pair.roster, document.write())

    def _text(self, pair: RosterPair | None) -> str:
        if pair is None:
            return ""
        decoded = decode(pair.roster, self._fallback)
        assert isinstance(decoded, Decoded)  # it was read before it was kept
        return decoded.text


def _wanted_cells(edit: AddRow | ChangeRow, current: Roster | None) -> dict[str, str]:
    """The cells to write: rights of one's own and a group's exclude each other; a copy is of rights as they are now."""
    cells = dict(edit.cells)
    if edit.copy_of is not None:
        other = (current.by_serial() if current else {}).get(edit.copy_of)
        if other is None:
            raise _no_row(edit.copy_of)
        cells |= {"group": "", "rights": rights_text(other.rights)}
    if cells.get("rights"):
        cells.setdefault("group", "")
    elif cells.get("group"):
        cells["rights"] = ""
    return cells


class _Sheet:
    """The rows of a CSV, cell by cell."""

    def __init__(self, text: str) -> None:
        rows = [list(row.cells) for row in read_csv(text, is_known).rows if not row.blank] if text else [list(COLUMNS)]
        self._rows = rows
        self._index = dict(match_header(rows[0]).index)
        self.changed = False

    def add(self, serial: int, cells: Mapping[str, str]) -> None:
        if self._find(serial) is not None:
            raise Refused(
                f"The roster has transmitter {write_serial(serial)} already.",
                remedy="Look whose it is; change or remove that row first.",
                code="serial-known",
            )
        row = [""] * len(self._rows[0])
        self._rows.append(row)
        self._put(row, {"serial": write_serial(serial), **cells})

    def change(self, serial: int, cells: Mapping[str, str]) -> None:
        self._put(self._rows[self._need(serial)], cells)

    def remove(self, serial: int) -> None:
        """Every row of this serial; one that stands twice with the same text counts once."""
        self._need(serial)
        self._rows = [row for place, row in enumerate(self._rows) if place == 0 or self._serial(row) != serial]
        self.changed = True

    def replace(self, column: str, text: str, new: str) -> None:
        for row in self._having(column, text):
            self._put(row, {column: new})

    def count(self, column: str, text: str) -> int:
        return len(self._having(column, text))

    def write(self) -> bytes:
        return write_csv(self._rows)

    def _having(self, column: str, text: str) -> list[list[str]]:
        place = self._index.get(column)
        if place is None:
            return []
        wanted = text.casefold()
        return [row for row in self._rows[1:] if place < len(row) and _cell(row[place]).casefold() == wanted]

    def _put(self, row: list[str], cells: Mapping[str, str]) -> None:
        for column, text in cells.items():
            if column not in self._index:
                if not text:
                    continue
                self._index[column] = len(self._rows[0])
                self._rows[0].append(column)
            place = self._index[column]
            row += [""] * (place + 1 - len(row))
            row[place] = write_cell(column, text)
        self.changed = True

    def _find(self, serial: int) -> int | None:
        return next((place for place, row in enumerate(self._rows) if place and self._serial(row) == serial), None)

    def _need(self, serial: int) -> int:
        place = self._find(serial)
        if place is None:
            raise _no_row(serial)
        return place

    def _serial(self, row: Sequence[str]) -> int | None:
        place = self._index["serial"]
        serial = read_serial(_cell(row[place])) if place < len(row) else None
        return serial if isinstance(serial, int) else None


class _Document:
    """The groups file, with its comments and its order."""

    def __init__(self, data: bytes | None) -> None:
        text = (data or b"").decode("utf-8-sig").replace("\r\n", "\n")
        try:
            self._document = tomlkit.parse(text)
        except TOMLKitError as fault:  # the stdlib's parser has read it before; the two differ in rare cases
            raise Refused(
                "The groups file can't be changed piece by piece.",
                remedy="Export it, write it more simply, and import it again.",
                code="groups-unwritable",
            ) from fault

    def put(self, name: str, rights: Mapping[str, Mapping[str, Sequence[str]]]) -> None:
        table = tomlkit.table()
        for receiver, positions in rights.items():
            table.append(receiver, position_table(positions))
        groups = self._groups()
        key = self._key(name)
        if key is None:
            groups.append(name, table)
        else:
            groups[key] = table

    def rename(self, name: str, new: str) -> None:
        key = self._need(name)
        if (other := self._key(new)) is not None and other != key:
            raise Refused(f"There is a group {other} already.", remedy="Choose another name.", code="group-known")
        groups = self._groups()
        content = groups[key]
        del groups[key]
        groups[new] = content

    def remove(self, name: str) -> None:
        key = self._need(name)
        del self._groups()[key]

    def forget_label(self, serial: int) -> None:
        labels: Any = self._document.get("labels", {})
        for names in labels.values():
            for text in [text for text in names if read_serial(text) == serial]:
                del names[text]

    def write(self) -> bytes:
        return tomlkit.dumps(self._document).lstrip("\n").encode("utf-8")

    def _groups(self) -> Any:
        if "groups" not in self._document:
            self._document.append("groups", tomlkit.table(is_super_table=True))
        return self._document["groups"]

    def _key(self, name: str) -> str | None:
        return next((str(key) for key in self._groups() if _cell(str(key)).casefold() == name.casefold()), None)

    def _need(self, name: str) -> str:
        key = self._key(name)
        if key is None:
            raise NotFound(f"There is no group {name}.", remedy="List the groups to see their names.")
        return key


def _without_labels(groups: bytes | None, serial: int) -> bytes | None:
    """The groups file without what receivers keep as this transmitter's name: a new holder's name is to be written."""
    if groups is None or b"labels" not in groups:
        return groups
    document = _Document(groups)
    document.forget_label(serial)
    return document.write()


def _groups_of(data: bytes) -> Groups:
    return read_groups(data, ReceiverNames(None), Findings(""))


def _cell(raw: str) -> str:
    cleaned = clean(raw)
    return cleaned.removeprefix("'") if isinstance(cleaned, str) else ""


def _no_row(serial: int) -> NotFound:
    return NotFound(
        f"The roster has no transmitter {write_serial(serial)}.", remedy="Read its ten digits again, or add it."
    )
