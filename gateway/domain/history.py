"""Who had access to what: spans of what receivers' memories were proven to hold, and of what rosters said.

The two are never mixed. What a memory held was read from it; what a roster said is only what somebody wanted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from gateway.domain.roster import Right

__all__ = [
    "AccessDay",
    "AccessRight",
    "AccessRow",
    "Chapter",
    "Gap",
    "MemorySpan",
    "Moment",
    "ReceiverDay",
    "RosterLine",
    "RosterRevision",
    "RosterSpan",
    "Story",
]


@dataclass(frozen=True, slots=True)
class Moment:
    """When something was seen to change.

    `clock` is what the wall clock showed, `trusted` whether that was known to be right. `earliest` and `latest` bound
    the true time and are the same once it is known; None where nothing bounds it (yet). `number` is the moment's own in
    the record, 0 for one from elsewhere: two moments at the same time are two.
    """

    clock: datetime
    trusted: bool
    earliest: datetime | None
    latest: datetime | None
    number: int = 0

    @property
    def at(self) -> datetime | None:
        """The true time, None while it is only bounded."""
        return self.earliest if self.earliest == self.latest else None

    def may_be_before(self, time: datetime) -> bool:
        """False only when it was certainly not earlier than `time`."""
        return self.earliest is None or self.earliest < time

    def is_before(self, time: datetime) -> bool:
        """True only when it was certainly earlier than `time`."""
        return self.latest is not None and self.latest < time


@dataclass(frozen=True, slots=True)
class MemorySpan:
    """One slot's content, proven from `first` on; `last` is when it was seen to be otherwise, None: it still holds.

    `by_hand` True: no line reaches this receiver, somebody wrote down what was done; nothing is proven.

    `outputs` are output numbers by position number.
    """

    receiver: str
    slot: int
    serial: int
    name: str
    outputs: Mapping[int, tuple[int, ...]]
    first: Moment
    last: Moment | None
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class RosterLine:
    """A row of a roster, without its row number and note. `positions` are the labels of its kind, number 1 first.

    Dates are as the file has them, in ISO 8601.
    """

    serial: int
    holder: str
    kind: str
    positions: tuple[str, ...]
    group: str
    rights: tuple[Right, ...]
    sites: tuple[str, ...]
    valid_from: str = ""
    valid_until: str = ""


@dataclass(frozen=True, slots=True)
class RosterRevision:
    """A roster that was accepted; the counts say what it changed against the one before.

    `revision` is the number of a signed one, None for an unsigned one.
    """

    number: int
    digest: str
    revision: int | None
    accepted: Moment
    transmitters: int
    holders: int
    added: int
    changed: int
    removed: int


@dataclass(frozen=True, slots=True)
class RosterSpan:
    """A row from the revision that brought it to the one that no longer has it so (None: it is in force)."""

    line: RosterLine
    first: RosterRevision
    last: RosterRevision | None


@dataclass(frozen=True, slots=True)
class AccessRight:
    """A position and the outputs that it works, for people: the label and the names, or numbers without a name."""

    position: str
    outputs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AccessRow:
    """One transmitter at one receiver on one day.

    `basis` is `memory`: read in the receiver's memory, in `slot`, from `first` to `last` (None: it still holds);
    `by-hand`: the same, written down by somebody and not proven; or `roster`: the roster of that day gave it these
    rights, and the memory never held it that day as far as is known; `first` and `last` are then the roster's.
    `certain` False: a clock that was not right leaves open whether it was on this day. `words` says all of it.
    """

    receiver: str
    serial: int
    holder: str
    slot: int | None
    rights: tuple[AccessRight, ...]
    basis: str
    certain: bool
    first: Moment
    last: Moment | None
    words: str


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which nobody watched a receiver; `until` None: it went on beyond the day. `why` is for people."""

    since: datetime
    until: datetime | None
    why: str


@dataclass(frozen=True, slots=True)
class ReceiverDay:
    """How good the record of one receiver is for a day.

    `recorded` False: nothing is recorded for the whole of that day. `recorded_since` is when the record begins.
    `receipt` is the newest signed receipt from before the day's end, empty without one.
    """

    receiver: str
    recorded: bool
    recorded_since: Moment | None
    gaps: tuple[Gap, ...]
    receipt: str = ""
    receipt_time: datetime | None = None


@dataclass(frozen=True, slots=True)
class AccessDay:
    """Who had access to what on a day of the site's zone: from `begin` to `end`, 23 to 25 hours.

    `rosters_since` is when the record of rosters begins.
    """

    day: date
    zone: str
    begin: datetime
    end: datetime
    receivers: tuple[ReceiverDay, ...]
    rows: tuple[AccessRow, ...]
    rosters_since: Moment | None = None


@dataclass(frozen=True, slots=True)
class Chapter:
    """One thing that happened to a transmitter. `basis` says how it is known: `roster` (somebody wanted it), `memory`
    (read and proven), `order` (asked for, or written down by a plan), `radio` (it was pressed), `board`.
    """

    moment: Moment
    basis: str
    receiver: str
    words: str


@dataclass(frozen=True, slots=True)
class Story:
    """Everything that is kept of one transmitter, oldest first. `holder` is who has it by the roster in force.

    `now` are sentences about this moment, `limits` about what the story can't know.
    """

    serial: int
    holder: str
    chapters: tuple[Chapter, ...]
    now: tuple[str, ...] = field(default=())
    limits: tuple[str, ...] = field(default=())
