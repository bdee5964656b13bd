"""Groups and kinds from the sheets of a workbook.

`groups` has the columns group, receiver, position and outputs, one row for each position at each receiver; several
outputs stand with blanks between. A row with a group alone defines a group without rights. `kinds` has the columns
kind and positions, blanks between. Both come to the same lines as the TOML file.
"""

from __future__ import annotations

from collections.abc import Iterator

from gateway.roster.cells import Wrong, show
from gateway.roster.findings import Findings
from gateway.roster.groups import GroupLine, Groups, KindLine, build_groups
from gateway.roster.named_sheet import read_named_sheet
from gateway.roster.names import ReceiverNames
from gateway.roster.table import Table

__all__ = ["GROUP_COLUMNS", "KIND_COLUMNS", "read_group_sheets"]

GROUP_COLUMNS = ("group", "receiver", "position", "outputs")
KIND_COLUMNS = ("kind", "positions")
_EXAMPLES = {"receiver": "slip-gate", "position": "1, or 1+2", "outputs": "gate, or two with a blank between"}


def read_group_sheets(
    groups: Table | None, kinds: Table | None, receivers: ReceiverNames, of_groups: Findings, of_kinds: Findings
) -> Groups:
    """Everything in the two sheets; what is wrong goes to the sheet's findings."""
    kind_lines = [] if kinds is None else list(_kinds(kinds, of_kinds))
    built_kinds = build_groups((), kind_lines, receivers, of_kinds)
    group_lines = [] if groups is None else list(_groups(groups, of_groups))
    built = build_groups(group_lines, (), receivers, of_groups)
    readable = not (of_groups.faults or of_kinds.faults)
    return Groups(built.groups, built_kinds.kinds, given=groups is not None, readable=readable)


def _groups(table: Table, findings: Findings) -> Iterator[GroupLine]:
    for row, texts in read_named_sheet(table, GROUP_COLUMNS, findings):
        if len(texts) < len(GROUP_COLUMNS):
            continue
        group, receiver, position, outputs = (texts[name] for name in GROUP_COLUMNS)
        if not group:
            findings.fault(row, "group", Wrong("no group", "write the group's name in every row"))
            continue
        filled = [name for name in GROUP_COLUMNS[1:] if texts[name]]
        if filled and len(filled) < len(_EXAMPLES):
            for name in sorted(_EXAMPLES.keys() - set(filled)):
                remedy = f"write {_EXAMPLES[name]}; a group without rights has receiver, position and outputs empty"
                findings.fault(row, name, Wrong(f"no {name}", remedy))
            continue
        yield GroupLine(row, "outputs", group, receiver, position, tuple(outputs.split()), "receiver", "position")


def _kinds(table: Table, findings: Findings) -> Iterator[KindLine]:
    seen: dict[str, int] = {}
    for row, texts in read_named_sheet(table, KIND_COLUMNS, findings):
        if len(texts) < len(KIND_COLUMNS):
            continue
        kind = texts["kind"]
        if seen.setdefault(kind.casefold(), row) != row:
            found = f"the kind {show(kind)}, which stands in row {seen[kind.casefold()]} too"
            findings.fault(row, "kind", Wrong(found, "write all its positions into one row, and delete the other"))
            continue
        yield KindLine(row, "positions" if kind else "kind", kind, tuple(texts["positions"].split()))
