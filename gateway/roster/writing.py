"""Roster files as bytes: CSV rows and the groups TOML, written so that reading gives back the same texts.

UTF-8, commas, one line end. What a spreadsheet would take for a formula is guarded (`cells.guard`); texts in the other
columns get the same mark, which reading takes away again.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import InlineTable

from gateway.domain.roster import Right
from gateway.domain.spreadsheet import guard

__all__ = ["group_rights", "groups_toml", "position_table", "rights_text", "write_cell", "write_csv"]

_FREE_TEXT = ("holder", "note")


def write_cell(column: str, text: str) -> str:
    """The cell's text in the file."""
    if column in _FREE_TEXT:
        return guard(text)
    return "'" + text if text.startswith("'") or guard(text) != text else text


def write_csv(rows: Iterable[Sequence[str]]) -> bytes:
    """Rows of raw cells, the header first (RFC 4180, with a bare line feed)."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue().encode("utf-8")


def rights_text(rights: Iterable[Right]) -> str:
    """The rights column: `1:slip-gate/gate 1+2:car-park/barrier`."""
    return " ".join(f"{right.position}:{right.receiver}/{right.output}" for right in rights)


def group_rights(rights: Iterable[Right]) -> dict[str, dict[str, list[str]]]:
    """Outputs by position by receiver, as a group is written."""
    table: dict[str, dict[str, list[str]]] = {}
    for right in rights:
        table.setdefault(right.receiver, {}).setdefault(right.position, []).append(right.output)
    return table


def position_table(positions: Mapping[str, Sequence[str]]) -> InlineTable:
    """`{ 1 = ["gate"], "1+2" = ["boat-hoist"] }`."""
    table = tomlkit.inline_table()
    for position, outputs in positions.items():
        table.append(position, list(outputs))
    return table


def groups_toml(
    groups: Mapping[str, Mapping[str, Mapping[str, Sequence[str]]]],
    kinds: Mapping[str, Sequence[str]],
    labels: Mapping[str, Mapping[str, str]],
) -> bytes:
    """A whole groups file, groups as `group_rights` has them; tables that would be empty are left out."""
    document = tomlkit.document()
    _add_tables(document, "groups", {name: _group(table) for name, table in groups.items()})
    _add_tables(document, "kinds", {name: {"positions": list(labels)} for name, labels in kinds.items()})
    _add_tables(document, "labels", {receiver: dict(names) for receiver, names in labels.items() if names})
    return tomlkit.dumps(document).lstrip("\n").encode("utf-8")


def _group(table: Mapping[str, Mapping[str, Sequence[str]]]) -> dict[str, Any]:
    return {receiver: position_table(positions) for receiver, positions in table.items()}


def _add_tables(document: tomlkit.TOMLDocument, name: str, tables: Mapping[str, Mapping[str, Any]]) -> None:
    if not tables:
        return
    outer = tomlkit.table(is_super_table=True)
    for key, content in tables.items():
        inner = tomlkit.table()
        for inner_key, value in content.items():
            inner.append(inner_key, value)
        outer.append(key, inner)
    document.append(name, outer)
