"""Groups, kinds and labels from the sheets of a workbook.

`groups` has the columns group, receiver, position and outputs, one row for each position at each receiver; several
outputs stand with blanks between. A row with a group alone defines a group without rights. `kinds` has the columns
kind and positions, blanks between; `labels` has receiver, serial and label, an empty label keeps no name. All come to
the same as the TOML file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from gateway.domain.transmitter import write_serial
from gateway.roster.cells import Wrong, show
from gateway.roster.findings import Findings
from gateway.roster.groups import GroupLine, Groups, KindLine, build_groups
from gateway.roster.named_sheet import read_named_sheet
from gateway.roster.names import ReceiverNames
from gateway.roster.serials import read_serial
from gateway.roster.table import Table

__all__ = [
    "GROUP_COLUMNS",
    "KIND_COLUMNS",
    "LABEL_COLUMNS",
    "SheetFindings",
    "read_group_lines",
    "read_group_sheets",
    "read_kind_lines",
    "read_labels",
]

GROUP_COLUMNS = ("group", "receiver", "position", "outputs")
KIND_COLUMNS = ("kind", "positions")
LABEL_COLUMNS = ("receiver", "serial", "label")
_EXAMPLES = {"receiver": "slip-gate", "position": "1, or 1+2", "outputs": "gate, or two with a blank between"}


@dataclass(frozen=True, slots=True)
class SheetFindings:
    """What is wrong in each of the sheets."""

    groups: Findings
    kinds: Findings
    labels: Findings

    @property
    def all(self) -> tuple[Findings, ...]:
        return self.groups, self.kinds, self.labels


def read_group_sheets(
    groups: Table | None, kinds: Table | None, labels: Table | None, receivers: ReceiverNames, of: SheetFindings
) -> Groups:
    """Everything in the sheets; what is wrong goes to the sheet's findings."""
    kind_lines = [] if kinds is None else list(read_kind_lines(kinds, of.kinds))
    built_kinds = build_groups((), kind_lines, receivers, of.kinds)
    group_lines = [] if groups is None else list(read_group_lines(groups, of.groups))
    built = build_groups(group_lines, (), receivers, of.groups)
    found = {} if labels is None else read_labels(labels, of.labels)
    readable = not (of.groups.faults or of.kinds.faults)
    by_fold = {receiver.casefold(): names for receiver, names in found.items()}
    return Groups(built.groups, built_kinds.kinds, by_fold, given=groups is not None, readable=readable)


def read_group_lines(table: Table, findings: Findings) -> Iterator[GroupLine]:
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


def read_labels(table: Table, findings: Findings) -> dict[str, dict[int, str]]:
    """The names that receivers keep, by receiver as it is written first, and by serial."""
    found: dict[str, dict[int, str]] = {}
    written: dict[str, str] = {}
    for row, texts in read_named_sheet(table, LABEL_COLUMNS, findings, exact=("label",)):
        if len(texts) < len(LABEL_COLUMNS):
            continue
        serial = read_serial(texts["serial"])
        if not texts["receiver"]:
            findings.fault(row, "receiver", Wrong("no receiver", "write the receiver's name in every row"))
        elif isinstance(serial, Wrong):
            findings.fault(row, "serial", serial)
        else:
            of_receiver = found.setdefault(written.setdefault(texts["receiver"].casefold(), texts["receiver"]), {})
            if serial in of_receiver:
                wrong = Wrong(f"{write_serial(serial)} at {texts['receiver']} twice", "leave one of the two rows")
                findings.fault(row, "serial", wrong)
            of_receiver[serial] = texts["label"]
    return found


def read_kind_lines(table: Table, findings: Findings) -> Iterator[KindLine]:
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
