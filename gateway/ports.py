"""What the use cases (sync, watch, archive) and the edges need of one another.

Every part takes the ports it uses by keyword and nothing else; only `daemon` knows which implementation is
plugged in. A Protocol here has few methods on purpose: there is no object that everything holds.

Rules that every implementation keeps: cancellation is safe at every await; errors are those of `errors`;
times are aware UTC datetimes; nothing returned is changed later by anybody.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol

from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.domain.live import LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.domain.receiver import (
    Capability,
    Identity,
    Limits,
    ReceiverSettings,
    RingPlace,
    RingRead,
    Slot,
    Status,
)
from gateway.domain.revocation import Revocation, RevocationState
from gateway.domain.roster import Fault, Roster
from gateway.domain.snapshot import Snapshot
from gateway.domain.transmitter import Kind
from gateway.domain.urgency import Urgency

__all__ = [
    "Archive",
    "BlockCrcs",
    "Commit",
    "EventFilter",
    "Fetched",
    "Journal",
    "Ledger",
    "LiveView",
    "MirrorKeeper",
    "Mirrors",
    "NotModified",
    "Plans",
    "Progress",
    "Proofs",
    "Receiver",
    "ReceiverFacts",
    "Revocations",
    "RosterAcceptance",
    "RosterArchive",
    "RosterCheck",
    "RosterDesk",
    "RosterReader",
    "RosterSource",
    "RosterState",
    "Runs",
    "SettingsDesk",
    "Snapshots",
    "SyncRuns",
    "Timetable",
    "Token",
    "Tokens",
    "Trust",
]

# --- the receiver (implemented by receivers/) -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BlockCrcs:
    """CRC-32 of every block of slots, and the revision at which all of them were true."""

    revision: int
    crcs: tuple[int, ...]


class Receiver(Protocol):
    """A driver for one receiver. It unlocks by itself where a request needs it and a password is known.

    Methods that a map has no capability for raise `Unsupported`. All raise `LineError` when the line failed,
    `PeerError` when the receiver refused or answered wrongly. Each call is one or more frames, every one of
    them queued with `urgency`, so that something more urgent overtakes it between two frames.
    """

    @property
    def name(self) -> str:
        """The settings' name of this receiver."""
        ...

    @property
    def capabilities(self) -> frozenset[Capability]: ...

    async def identify(self, *, urgency: Urgency = Urgency.CONTROL) -> tuple[Identity, Limits]:
        """Who answers, and its limits. Raises WrongReceiver when its map version isn't the map's."""
        ...

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status:
        """One poll; one frame where the map has a status block."""
        ...

    async def read_ring(self, after: RingPlace, status: Status, *, urgency: Urgency = Urgency.POLL) -> RingRead:
        """The events after a place, up to the newest that `status` tells of."""
        ...

    async def read_settings(self, *, urgency: Urgency = Urgency.CONTROL) -> ReceiverSettings: ...

    async def write_on_time(self, output: int, seconds: int) -> None:
        """Set one on-time and read it back. Raises NotProven when the memory does not hold it."""
        ...

    async def write_local_programming(self, allowed: bool) -> None:
        """Set the lock of the board's own buttons and read it back."""
        ...

    async def write_password(self, new: str) -> None:
        """Set (or with "" switch off) the link password; proven by locking and unlocking with it."""
        ...

    async def read_block_crcs(self, *, urgency: Urgency = Urgency.CONTROL) -> BlockCrcs: ...

    async def read_slots(self, numbers: Collection[int], *, urgency: Urgency = Urgency.BULK) -> dict[int, Slot]:
        """The slots of these numbers that exist. Frames are as large as the line allows at the moment."""
        ...

    async def write_slots(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, *, urgency: Urgency = Urgency.BULK
    ) -> None:
        """Write whole slots and free others in ONE frame, ascending by number; at most `slots_per_write` together.

        `seen` is the revision that the caller's knowledge of these slots is true at; ReceiverRefused with
        `slot-changed` when one of them has changed since. Returns when the receiver says it is durable; the caller
        reads back. After a LineError it is unknown which of these slots were written.
        """
        ...

    @property
    def slots_per_write(self) -> int:
        """How many slots go into one write frame just now."""
        ...

    def block_crc(self, limits: Limits, block: int, slots: Mapping[int, Slot]) -> int:
        """The CRC-32 that the receiver must state for this block if it holds exactly these slots."""
        ...

    def kind_code(self, kind: Kind) -> int:
        """The memory's code for a kind; 0 ("not stated") when the map has none with these positions."""
        ...

    def fit_name(self, limits: Limits, name: str) -> str:
        """The name as the memory would keep it (shortened on a character's border)."""
        ...

    def wire_seconds(self, *, slots_written: int, blocks_checked: int) -> float:
        """Estimate of the time on the wire for writing, reading back and proving."""
        ...

    async def listen(self, seconds: int) -> None:
        """Start enrolment listening (0 ends it)."""
        ...

    async def factory_reset(self) -> None:
        """Clear the memory: no slots, no password, lock off, on-times as from the factory."""
        ...


# --- durable things (implemented by store/) ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Commit:
    """Things that become durable together, or not at all.

    `cursors` are ring places by receiver. `mirror` replaces that receiver's whole mirror (the store writes only
    what differs; its `cursor` is ignored, `cursors` alone moves it). `plans` are saved as they stand.
    `proven` are revocations (serial, receiver) whose absence from a receiver's memory has been read.
    `unproven` are serials whose older proofs no longer count (revoked anew); they go before `proven`.
    `runs` are the due times that timetables, by name, have now run for.
    """

    events: tuple[EventDraft, ...] = ()
    cursors: Mapping[str, RingPlace] = field(default_factory=dict)
    mirror: Mirror | None = None
    plans: tuple[Plan, ...] = ()
    proven: tuple[tuple[int, str], ...] = ()
    unproven: tuple[int, ...] = ()
    runs: Mapping[str, datetime] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class EventFilter:
    """Which events; empty means all."""

    names: frozenset[EventName] = frozenset()
    receivers: frozenset[str] = frozenset()


class Journal(Protocol):
    """The durable, numbered list of events. One writer."""

    async def commit(self, commit: Commit) -> tuple[Event, ...]:
        """Make all of it durable, then wake the readers. Raises StoreUnavailable and keeps nothing when it can't."""
        ...

    @property
    def newest(self) -> EventId:
        """The id of the newest durable event; number 0 when there is none in this epoch."""
        ...

    @property
    def oldest_number(self) -> int:
        """The number of the oldest event kept; 0 when there is none."""
        ...

    async def read(
        self, after: int, *, limit: int = 100, wanted: EventFilter = EventFilter(), newest_first: bool = False
    ) -> tuple[Event, ...]:
        """Events of this epoch with number > `after`, in order; with `newest_first` those with number < `after`
        (0: from the end), in falling order."""
        ...

    async def wait_newer(self, number: int) -> None:
        """Return when an event with a number above this one is durable."""
        ...


class Mirrors(Protocol):
    """Mirrors by receiver, from memory; written through `Journal.commit` alone."""

    def load(self, receiver: str) -> Mirror | None: ...


class Plans(Protocol):
    """Plans and their outcomes; written through `Journal.commit` alone."""

    async def load(self, plan_id: str) -> Plan | None: ...

    async def newest(
        self, *, receiver: str | None = None, limit: int = 50, before: str | None = None
    ) -> tuple[Plan, ...]:
        """Newest first. `before` is a plan id to go on from."""
        ...

    async def unfinished(self) -> tuple[Plan, ...]:
        """Plans whose state is not final, oldest first."""
        ...


@dataclass(frozen=True, slots=True)
class RosterAcceptance:
    """Which roster was last accepted. `revision` is a signed file's number, None when unsigned."""

    digest: str
    time: datetime
    revision: int | None = None


class Ledger(Protocol):
    """The append-only file beside the database, synced before it. Survives the database."""

    async def revoke(self, revocation: Revocation, old_slots: Mapping[str, Slot]) -> None:
        """Durable when it returns. `old_slots` are what each receiver held, so that it can be undone."""
        ...

    async def lift(self, serial: int, asked_by: str, reason: str, time: datetime) -> None: ...

    def revocations(self) -> dict[int, Revocation]:
        """In force now, by serial. Their `states` are empty here; see `Proofs`."""
        ...

    async def accept_roster(self, acceptance: RosterAcceptance) -> None: ...

    @property
    def accepted(self) -> RosterAcceptance | None: ...


@dataclass(frozen=True, slots=True)
class Token:
    """An access token as it is kept: never the secret itself. `id` is public and names it in lists and audit."""

    id: str
    name: str
    scopes: frozenset[str]
    created: datetime


class Proofs(Protocol):
    """Which revocations are proven where; written through `Journal.commit` alone, gone with the database."""

    def proven(self, serial: int) -> frozenset[str]:
        """The receivers whose memory was read after the revocation and lacks this serial."""
        ...


class Runs(Protocol):
    """When each timetable last ran; written through `Journal.commit` alone, gone with the database."""

    def last(self, name: str) -> datetime | None:
        """The newest due time that this timetable has run for, None when it never did."""
        ...


class Tokens(Protocol):
    """Access tokens; only SHA-256 hashes are kept."""

    async def add(self, name: str, scopes: Collection[str]) -> tuple[Token, str]:
        """A new token and its secret, which is shown this once."""
        ...

    def find(self, secret: str) -> Token | None:
        """The token with this secret, compared in constant time."""
        ...

    def list(self) -> tuple[Token, ...]: ...

    async def remove(self, token_id: str) -> None:
        """Raises NotFound."""
        ...


class Snapshots(Protocol):
    """Snapshot files."""

    async def write(self, snapshot: Snapshot) -> Path: ...

    async def read(self, snapshot_id: str) -> Snapshot:
        """Raises NotFound, or Refused with `snapshot-damaged`."""
        ...

    async def list(self, receiver: str | None = None) -> tuple[str, ...]:
        """Ids, newest first."""
        ...


@dataclass(frozen=True, slots=True)
class AuditRow:
    """One line of the audit. `detail` is the personal part, None once erased; `hash` is the chain's, in hex."""

    number: int
    time: datetime
    who: str
    what: str
    outcome: str
    detail: Mapping[str, Any] | None
    hash: str


@dataclass(frozen=True, slots=True)
class AuditCheck:
    """The whole chain recomputed. `broken` is the first row that does not fit, None when all do; `problem` says why."""

    rows: int
    head: str
    broken: int | None = None
    problem: str = ""


class Audit(Protocol):
    """Who changed or asked for what: rows that can be added and erased in part, never altered unnoticed."""

    async def record(
        self, who: str, what: str, detail: Mapping[str, Any] | None = None, *, outcome: str = "done"
    ) -> AuditRow:
        """Durable when it returns. `detail` is plain JSON; serials and names belong there, never in `what`."""
        ...

    async def read(self, *, limit: int = 100, before: int = 0) -> tuple[AuditRow, ...]:
        """Newest first; those with a number below `before` (0: from the end)."""
        ...

    async def verify(self) -> AuditCheck: ...


class Archive(Protocol):
    """Taking snapshots (implemented by archive/)."""

    async def take(self, receiver: str, mirror: Mirror, *, reason: str, status: Status | None) -> Snapshot:
        """A snapshot of a mirror that is proven equal to the receiver, durable when it returns, and its event.

        `status` supplies the output modes, None when it isn't known.
        """
        ...


# --- the outside world (implemented by roster/ and system/) ------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fetched:
    """The bytes of the roster file and of its group file (None when there is none), and what to ask with next."""

    roster: bytes
    groups: bytes | None
    tag: str


@dataclass(frozen=True, slots=True)
class NotModified:
    """The source says that nothing changed since the tag."""


class RosterSource(Protocol):
    """Where the central file comes from."""

    @property
    def place(self) -> str:
        """Path or address for people, without credentials."""
        ...

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Raises SourceUnreachable, SourceRefused (too large, wrong type, redirect ...)."""
        ...


class RosterArchive(Protocol):
    """The bytes of accepted rosters, so that a restart has the roster in force without its source."""

    async def keep(self, digest: str, fetched: Fetched) -> None:
        """Durable when it returns; the same digest twice is kept once."""
        ...

    async def load(self, digest: str) -> Fetched | None:
        """The bytes behind a digest, None when they are not kept or damaged."""
        ...


@dataclass(frozen=True, slots=True)
class ReceiverFacts:
    """What people call things: a receiver's name, its outputs and its inputs by number.

    A roster is checked and planned against it.
    """

    name: str
    outputs: Mapping[int, str]
    positions: int = 8
    inputs: Mapping[int, str] = field(default_factory=dict)

    def output_number(self, text: str) -> int | None:
        """The number of an output given by name or number; None when there is no such output."""
        for number, name in self.outputs.items():
            if text.casefold() == name.casefold() or text == str(number):
                return number
        return None


@dataclass(frozen=True, slots=True)
class RosterCheck:
    """A file read as a whole. `roster` is None when there are faults."""

    roster: Roster | None
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    transmitters: int = 0
    holders: int = 0


class RosterReader(Protocol):
    """From bytes to a checked roster."""

    def check(self, roster: bytes, groups: bytes | None, receivers: Sequence[ReceiverFacts] | None) -> RosterCheck:
        """All faults in one pass. `receivers` None leaves receiver and output names unchecked."""
        ...


class Trust(Protocol):
    """Whether wall time is known to be right."""

    @property
    def trusted(self) -> bool: ...


# --- use cases, as other use cases and the API see them ----------------------------------------------------

Progress = Callable[[int, int, str], None]
"""Called with how much is done, of how much, and what is going on, in words."""


class LiveView(Protocol):
    """The state of every receiver at this moment (implemented by watch/)."""

    def receivers(self) -> tuple[LiveReceiver, ...]: ...

    def receiver(self, name: str) -> LiveReceiver:
        """Raises NotFound."""
        ...


class MirrorKeeper(Protocol):
    """Brings one receiver's mirror up to what it holds (implemented by watch/)."""

    async def refresh(
        self, receiver: str, *, urgency: Urgency = Urgency.BULK, progress: Progress | None = None
    ) -> Mirror:
        """Revision and block CRCs decide what is read. What changed is journaled together with the mirror.

        Returns a mirror that is proven equal to the receiver at its `revision`. Raises LineError, PeerError,
        Refused with `receiver-unconfirmed` when another receiver answers.
        """
        ...

    async def record(
        self, receiver: str, slots: Mapping[int, Slot | None], revision: int, crcs: tuple[int, ...]
    ) -> Mirror:
        """What our own, proven write has put there (None: freed). Journaled as one `slot.changed` per block."""
        ...

    async def confirm(self, receiver: str) -> None:
        """Somebody says that the receiver which answers now is the right one."""
        ...


@dataclass(frozen=True, slots=True)
class RosterState:
    """The roster in force and what the source last said."""

    place: str
    roster: Roster | None
    accepted: RosterAcceptance | None
    last_fetch: datetime | None
    last_good: datetime | None
    problem: str
    remedy: str
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    next_run: datetime | None


class RosterDesk(Protocol):
    """The roster in force (implemented by sync/)."""

    def state(self) -> RosterState: ...

    async def fetch(self) -> RosterState:
        """Ask the source now. Faults and an unreachable source are in the state, not raised."""
        ...


class Timetable(Protocol):
    """When the roster is fetched and brought to the receivers by itself (implemented by sync/)."""

    def next_run(self) -> datetime | None:
        """The next due time, None without a timetable."""
        ...


class SyncRuns(Protocol):
    """Plans: preview, apply, approve (implemented by sync/)."""

    async def preview(self, receiver: str) -> Plan:
        """What would be written if the roster in force were applied now; nothing is written or kept.

        Raises Refused with `no-roster` or `receiver-unconfirmed`, Unsupported, LineError.
        """
        ...

    async def apply(self, receiver: str, *, approve: bool = False, progress: Progress | None = None) -> Plan:
        """Refresh the mirror, plan, write, prove. Returns the plan as it ended (applied, held or failed)."""
        ...

    async def start(self, receiver: str, *, asked_by: str) -> Plan:
        """Plan now and write in the background; returns the durable plan. One at a time per receiver."""
        ...

    async def approve(self, plan_id: str, *, asked_by: str) -> Plan:
        """Let a held plan go ahead: it is planned again, and refused with `plan-changed` if it would differ."""
        ...

    def progress(self, plan_id: str) -> tuple[int, int, str] | None:
        """Done, total and words of a plan being applied; None when it isn't."""
        ...


class Revocations(Protocol):
    """Revoking and lifting (implemented by sync/)."""

    async def revoke(self, serial: int, *, asked_by: str, reason: str) -> Revocation:
        """In the ledger when it returns; written to the receivers right after, ahead of everything else."""
        ...

    async def lift(self, serial: int, *, asked_by: str, reason: str) -> None:
        """Raises NotFound."""
        ...

    def all(self) -> tuple[Revocation, ...]:
        """In force, newest first, with each receiver's state."""
        ...

    def state(self, serial: int) -> Mapping[str, RevocationState]: ...


class SettingsDesk(Protocol):
    """Settings of a receiver, changed with before, after and read-back (implemented by sync/)."""

    async def read(self, receiver: str) -> ReceiverSettings: ...

    async def change(
        self,
        receiver: str,
        *,
        on_times_s: Mapping[int, int] | None = None,
        local_programming: bool | None = None,
        password: str | None = None,
        asked_by: str,
    ) -> tuple[ReceiverSettings, ReceiverSettings]:
        """Before and after. Refused with `on-time-out-of-range` and the like before anything is written."""
        ...
