"""A first roster from what receivers hold, for a site that has been in use before the gateway came.

It wants exactly what the memories hold, so that applying it changes nothing: rights by group where several transmitters
share them, the name that a receiver keeps as holder, and as a label wherever a receiver keeps another. Names of groups
are made from their rights alone, so that reading again gives the same ones. It reads no receiver and writes no file.
"""

from __future__ import annotations

import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from gateway.domain.person import is_unnamed, unnamed_holder
from gateway.domain.receiver import Slot
from gateway.domain.roster import Right
from gateway.domain.spreadsheet import unguard
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.ports import FirstRoster, Memory, RosterPair
from gateway.roster.cells import Wrong, clean
from gateway.roster.columns import COLUMNS
from gateway.roster.rights import read_rights
from gateway.roster.writing import group_rights, groups_toml, rights_text, write_cell, write_csv

__all__ = ["first_roster"]

_SHARED_BY = 2  # so many transmitters with the same rights make a group
_NAMED_OUTPUTS = 3  # in the name of a group
_COMBINED = (("1", "2", "1+2"), ("1", "2", "3", "4", "1+2"), ("1", "2", "3", "4", "1+2", "3+4"))
_KINDS = (
    *(kind for name, kind in BUILT_IN_KINDS.items() if name != "any"),
    *(Kind(f"{count}-button", tuple(str(n) for n in range(1, count + 1))) for count in (5, 6, 7)),
    *(Kind("buttons-" + "-".join(labels), labels) for labels in _COMBINED),
)
"""Kinds that are looked for behind a memory's code; of any other, positions are written by number."""


@dataclass(frozen=True, slots=True)
class _Found:
    """One transmitter and the slots that hold it, by receiver."""

    serial: int
    slots: tuple[tuple[Memory, Slot], ...]


@dataclass(frozen=True, slots=True)
class _Row:
    serial: int
    holder: str
    kind: str
    rights: tuple[Right, ...]


def first_roster(memories: Sequence[Memory]) -> FirstRoster:
    """A roster of everything in these memories, in their order. Without transmitters it has no rows."""
    notes: list[str] = []
    rows: list[_Row] = []
    labels: defaultdict[str, dict[str, str]] = defaultdict(dict)
    for found in _transmitters(memories, notes):
        kind = _kind(found)
        rights = _rights(found, kind, notes)
        if rights:
            holder = _holder(found)
            rows.append(_Row(found.serial, holder, kind.name, rights))
            _label(found, holder, labels)
    groups = _groups(rows)
    kinds = {kind.name: kind.positions for kind in _KINDS if kind.name not in BUILT_IN_KINDS}
    used = {name: labels_ for name, labels_ in kinds.items() if any(row.kind == name for row in rows)}
    by_rights = {rights: name for name, rights in groups.items()}
    tables = {name: group_rights(rights) for name, rights in groups.items()}
    lines = [COLUMNS, *(_cells(row, by_rights.get(row.rights, "")) for row in rows)]
    return FirstRoster(
        pair=RosterPair(write_csv(lines), groups_toml(tables, used, labels)),
        transmitters=len(rows),
        holders=len({row.holder.casefold() for row in rows}),
        unnamed=sum(is_unnamed(row.holder, row.serial) for row in rows),
        groups=tuple(groups),
        notes=tuple(notes),
    )


def _transmitters(memories: Sequence[Memory], notes: list[str]) -> Iterable[_Found]:
    """Every transmitter; of one that stands twice in a memory the lower slot, which is the one that works
    (docs/register-map.md, slots)."""
    found: dict[int, list[tuple[Memory, Slot]]] = {}
    for memory in memories:
        lowest: dict[int, Slot] = {}
        for slot in sorted(memory.slots, key=lambda slot: slot.number):
            first = lowest.setdefault(slot.serial, slot)
            if first is slot:
                found.setdefault(slot.serial, []).append((memory, slot))
            else:
                who = f"transmitter {write_serial(slot.serial)}"
                notes.append(
                    f"{memory.facts.name} holds {who} twice: slot {first.number} works, and slot {slot.number}, "
                    "which does nothing, would be freed."
                )
    return (_Found(serial, tuple(slots)) for serial, slots in found.items())


def _kind(found: _Found) -> Kind:
    """The kind whose code every memory that states one has stored, and that has all positions in use."""
    codes = {(memory.facts.name, slot.kind): memory for memory, slot in found.slots if slot.kind}
    highest = max((place for _, slot in found.slots for place, _ in slot.pairs), default=0)
    for kind in _KINDS if codes else ():
        fits = all(memory.kind_code(kind) in (0, code) for (_, code), memory in codes.items())
        known = any(memory.kind_code(kind) == code for (_, code), memory in codes.items())
        others = (memory for memory, slot in found.slots if not slot.kind)
        if fits and known and len(kind.positions) >= highest and not any(memory.kind_code(kind) for memory in others):
            return kind
    return BUILT_IN_KINDS["any"]


def _rights(found: _Found, kind: Kind, notes: list[str]) -> tuple[Right, ...]:
    rights: set[Right] = set()
    for memory, slot in found.slots:
        name = memory.facts.name
        for place, output in sorted(slot.pairs):
            text = memory.facts.output_text(output)
            if text is None or place > len(kind.positions) or output > memory.limits.outputs:
                notes.append(f"{name}, slot {slot.number}: position {place} on output {output} can't be written.")
            else:
                rights.add(Right(name, kind.label_of(place), text))
    return tuple(sorted(rights))


def _holder(found: _Found) -> str:
    """The name that most receivers keep, of those the longest, then the first; or a place for one."""
    names = Counter(name for _, slot in found.slots if (name := _readable(slot.name)))
    return max(names, key=lambda name: (names[name], len(name)), default=unnamed_holder(found.serial))


def _readable(name: str) -> str:
    """The name as a roster can have it; empty where it can't."""
    cleaned = clean(name)
    if isinstance(cleaned, Wrong) or not cleaned.isprintable():
        return ""
    return unguard(cleaned)


def _label(found: _Found, holder: str, labels: dict[str, dict[str, str]]) -> None:
    """What a receiver keeps instead of the holder's name."""
    for memory, slot in found.slots:
        kept = "" if is_unnamed(holder, found.serial) else memory.fit_name(memory.limits, holder)
        if slot.name != kept:
            labels[memory.facts.name][write_serial(found.serial)] = slot.name


def _groups(rows: Sequence[_Row]) -> Mapping[str, tuple[Right, ...]]:
    counts = Counter(row.rights for row in rows)
    shared = sorted(rights for rights, count in counts.items() if count >= _SHARED_BY)
    return {_group_name(rights): rights for rights in shared if _is_writable(rights)}


def _is_writable(rights: tuple[Right, ...]) -> bool:
    """Whether rights stand for themselves in a group: all can be read back."""
    read, wrongs = read_rights(rights_text(rights))
    return not wrongs and tuple(read) == rights


def _group_name(rights: tuple[Right, ...]) -> str:
    outputs = list(dict.fromkeys(_output_word(right) for right in rights))
    more = ["more"] if len(outputs) > _NAMED_OUTPUTS else []
    digest = hashlib.sha256(rights_text(rights).encode()).hexdigest()
    return "-".join((*outputs[:_NAMED_OUTPUTS], *more, digest[:6]))


def _output_word(right: Right) -> str:
    return f"{right.receiver}-{right.output}" if right.output.isdigit() else right.output


def _cells(row: _Row, group: str) -> Sequence[str]:
    cells = {
        "serial": write_serial(row.serial),
        "holder": row.holder,
        "kind": "" if row.kind == "any" else row.kind,
        "group": group,
        "rights": "" if group else rights_text(row.rights),
    }
    return [write_cell(column, cells.get(column, "")) for column in COLUMNS]
