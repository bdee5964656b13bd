"""What a receiver should hold: the roster, seen from one receiver at one moment.

Pure. It knows nothing of what the receiver holds now (planning does) and reads no clock: "now" and whether it
can be believed are arguments. Rules 5 and 7 of the design: revoked serials stay out whatever the roster says, and a
clock that isn't known to be right grants and ends nothing by date.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from gateway.domain.person import is_unnamed
from gateway.domain.receiver import Limits
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.domain.validity import Validity, ends, validity
from gateway.ports import ReceiverFacts
from gateway.sync.roster_index import index_of

__all__ = ["Desired", "Moment", "Shape", "Wanted", "desired_slots"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """One transmitter's place as the roster wants it. `code` is the memory's code of its kind, 0 when not stated."""

    serial: int
    holder: str
    kind: Kind
    code: int
    outputs: tuple[frozenset[int], ...]
    name: str


@dataclass(frozen=True, slots=True)
class Moment:
    """When the question is asked, in which zone the roster's dates are, and whether the clock can be believed.

    `accepted` is when the roster was accepted, `earlier` the one that was in force before it: an ending that was
    already foreseen then isn't a surprise of a new file.
    """

    now: datetime
    zone: ZoneInfo
    trusted: bool
    accepted: datetime | None = None
    earlier: Roster | None = None


@dataclass(frozen=True, slots=True)
class Shape:
    """How one receiver's memory keeps things: its limits, and the driver's two helpers."""

    limits: Limits
    kind_code: Callable[[Kind], int]
    fit_name: Callable[[Limits, str], str]


@dataclass(frozen=True, slots=True)
class Desired:
    """Every serial of the roster has one fate here.

    `wanted` take a slot. `ended` have none any more because a date that was known before has passed. `undecided` have
    dates while the clock is untrusted: what the memory holds of them stays as it is. `listed` are all serials
    of the roster, `holders` their holders; `revoked` are those that must not be in the memory. `kept` are those whose
    slots stay as they are because other hands put them there and that is to be left alone.
    """

    wanted: Mapping[int, Wanted]
    ended: Mapping[int, str] = field(default_factory=dict)
    undecided: frozenset[int] = frozenset()
    listed: frozenset[int] = frozenset()
    revoked: frozenset[int] = frozenset()
    left_out: tuple[str, ...] = ()
    kept: frozenset[int] = frozenset()
    holders: Mapping[int, str] = field(default_factory=dict)


def desired_slots(
    roster: Roster, facts: ReceiverFacts, shape: Shape, moment: Moment, *, site: str, revoked: Collection[int]
) -> Desired:
    """What one receiver should hold by this roster at this moment."""
    wanted: dict[int, Wanted] = {}
    ended: dict[int, str] = {}
    undecided: set[int] = set()
    left_out: list[str] = []
    index = index_of(roster)
    for entry in index.rows_of(facts.name):
        if not _is_here(entry, site):
            continue
        place, notes = _place(entry, roster, facts, shape)
        if place is None:
            left_out += notes
            continue
        when = validity(entry, moment.now, moment.zone, trusted=moment.trusted)
        if entry.serial in revoked:
            left_out.append(f"{_who(entry)} is revoked and stays out until the revocation is lifted.")
        elif when is Validity.UNKNOWN:
            undecided.add(entry.serial)
            left_out.append(f"{_who(entry)} has dates, and the clock is not known to be right: nothing is decided yet.")
        elif when is Validity.OVER and _foreseen(entry, moment):
            ended[entry.serial] = str(entry.valid_until)
        elif when is Validity.NOW:
            wanted[entry.serial] = place
            left_out += notes
    return Desired(
        wanted=wanted,
        ended=ended,
        undecided=frozenset(undecided),
        listed=index.listed,
        revoked=frozenset(revoked),
        left_out=tuple(left_out),
        holders=index.holders,
    )


def _is_here(entry: Entry, site: str) -> bool:
    return not entry.sites or site.casefold() in (name.casefold() for name in entry.sites)


def _who(entry: Entry) -> str:
    return f"{entry.holder}, transmitter {write_serial(entry.serial)},"


def _place(entry: Entry, roster: Roster, facts: ReceiverFacts, shape: Shape) -> tuple[Wanted | None, list[str]]:
    """The slot that this row's rights make here, None when they make none; and what had to be left out."""
    kind = roster.kinds.get(entry.kind) or BUILT_IN_KINDS["any"]
    groups: list[set[int]] = [set() for _ in range(shape.limits.positions)]
    notes = []
    for right in entry.rights:
        if right.receiver.casefold() != facts.name.casefold():
            continue
        position, output = kind.number_of(right.position), facts.output_number(right.output)
        if position is None or position > shape.limits.positions:
            notes.append(f"{_who(entry)} has no position {right.position}: {right.output} is left out for it.")
        elif output is None or output > shape.limits.outputs:
            notes.append(f"{_who(entry)} is to work {right.output}, which {facts.name} does not have: left out.")
        else:
            groups[position - 1].add(output)
    if not any(groups):
        return None, notes
    outputs = tuple(frozenset(group) for group in groups)
    name = _name(entry, roster, facts, shape)
    return Wanted(entry.serial, entry.holder, kind, shape.kind_code(kind), outputs, name), notes


def _name(entry: Entry, roster: Roster, facts: ReceiverFacts, shape: Shape) -> str:
    """What the memory keeps as name: the roster's label, else the holder; nothing for one whom nobody has named yet.

    A label is what a receiver was found to keep. It stays as it is as long as it fits, whatever characters it has.
    """
    label = roster.label(facts.name, entry.serial)
    if label is not None:
        fits = len(label.encode("utf-8", "replace")) <= shape.limits.name_bytes
        return label if fits else shape.fit_name(shape.limits, label)
    return "" if is_unnamed(entry.holder, entry.serial) else shape.fit_name(shape.limits, entry.holder)


def _foreseen(entry: Entry, moment: Moment) -> bool:
    """True when this end was already known to an accepted roster before it came.

    It was if it came after the acceptance, or if the roster before had the same end for the same row. An end
    that a new file brings along, already past, is a removal like any other and counts towards the guard.
    """
    if entry.valid_until is None or moment.accepted is None:
        return False
    if ends(entry.valid_until, moment.zone) > moment.accepted:
        return True
    before = index_of(moment.earlier).by_serial.get(entry.serial) if moment.earlier else None
    return before is not None and before.valid_until == entry.valid_until
