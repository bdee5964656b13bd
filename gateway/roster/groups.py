"""Groups and kinds, from whatever file they stand in, and the checks that are the same for all of them.

A group is a list of `GroupLine`s: one receiver and position with its outputs, and where that was written. The
TOML file is one way to write them; a sheet with the columns group, receiver, position and outputs is another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gateway.domain.roster import Right
from gateway.domain.transmitter import BUILT_IN_KINDS, MAX_POSITIONS, Kind
from gateway.roster.cells import Wrong, clean, show
from gateway.roster.findings import Findings
from gateway.roster.names import ReceiverNames
from gateway.roster.rights import read_name, read_output, read_position

__all__ = ["GroupLine", "Groups", "KindLine", "build_groups"]


@dataclass(frozen=True, slots=True)
class GroupLine:
    """One position of a group at one receiver. `column` names the place for people, the other two columns the place of
    receiver and position where they have one of their own; an empty position means that the group is defined and has
    nothing there."""

    row: int
    column: str
    group: str
    receiver: str = ""
    position: str = ""
    outputs: tuple[str, ...] = ()
    receiver_column: str = ""
    position_column: str = ""


@dataclass(frozen=True, slots=True)
class KindLine:
    """One kind of transmitter and its positions, as written."""

    row: int
    column: str
    kind: str
    positions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Groups:
    """What the rows of a roster refer to. With `given` False no groups file exists; with `readable` False it
    exists and could not be read, so that no name can be called unknown."""

    groups: Mapping[str, tuple[Right, ...]] = field(default_factory=dict)
    kinds: Mapping[str, Kind] = field(default_factory=lambda: BUILT_IN_KINDS)
    labels: Mapping[str, Mapping[int, str]] = field(default_factory=dict)
    given: bool = False
    readable: bool = True


def build_groups(
    lines: Iterable[GroupLine], kinds: Iterable[KindLine], receivers: ReceiverNames, findings: Findings
) -> Groups:
    """Check every line; what is wrong goes to `findings`, what is right into the result.

    A group with a fault still counts as known, so that its rows aren't reported for it too.
    """
    rights: dict[str, set[Right]] = {}
    for line in lines:
        name = clean(line.group)
        if isinstance(name, Wrong) or not name:
            findings.fault(line.row, line.column, _name_wrong(line.group, name))
            continue
        of_group = rights.setdefault(name, set())
        if line.position:
            of_group.update(_rights_of(line, receivers, findings))
    all_kinds = dict(BUILT_IN_KINDS)
    for kind_line in kinds:
        kind = _kind_of(kind_line, findings)
        all_kinds[kind.name] = kind
    return Groups({name: tuple(sorted(found)) for name, found in rights.items()}, all_kinds, given=True)


def _name_wrong(raw: str, cleaned: str | Wrong) -> Wrong:
    return (
        cleaned if isinstance(cleaned, Wrong) else Wrong(f"the name {show(raw)}", "write a name that people can read")
    )


def _rights_of(line: GroupLine, receivers: ReceiverNames, findings: Findings) -> Iterable[Right]:
    position = read_position(line.position)
    if isinstance(position, Wrong):
        findings.fault(line.row, line.position_column or line.column, position)
        return
    of_receiver = line.receiver_column or line.column
    names: list[str] = []
    outputs_read = ((read_output, output, line.column) for output in line.outputs)
    for read, text, column in ((read_name, line.receiver, of_receiver), *outputs_read):
        name = read(text)
        if isinstance(name, Wrong):
            findings.fault(line.row, column, name)
            return
        names.append(name)
    receiver, *outputs = names
    for output in outputs:
        right, wrong, is_fault = receivers.resolve(Right(receiver, position, output))
        if wrong is not None:
            # a fault is an output that the receiver lacks, a warning a receiver that the site lacks
            (findings.fault if is_fault else findings.warn)(line.row, line.column if is_fault else of_receiver, wrong)
        yield right


def _kind_of(line: KindLine, findings: Findings) -> Kind:
    name = clean(line.kind)
    if isinstance(name, Wrong) or not name:
        findings.fault(line.row, line.column, _name_wrong(line.kind, name))
    labels: list[str] = []
    for text in line.positions:
        label = read_position(text)
        if isinstance(label, Wrong):
            findings.fault(line.row, line.column, label)
        elif label in labels:
            findings.fault(line.row, line.column, Wrong(f"the position {show(label)} twice", "leave it out once"))
        else:
            labels.append(label)
    if not 1 <= len(line.positions) <= MAX_POSITIONS:
        wrong = Wrong(f"{len(line.positions)} positions", f"write 1 to {MAX_POSITIONS} of them")
        findings.fault(line.row, line.column, wrong)
    return Kind(name if isinstance(name, str) else line.kind, tuple(labels))
