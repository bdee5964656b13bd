"""What the use cases (sync, watch, archive) and the edges need of one another.

Every part takes the ports it uses by keyword and nothing else; only `daemon` knows which implementation is
plugged in. A Protocol here has few methods on purpose: there is no object that everything holds.

Rules that every implementation keeps: cancellation is safe at every await; errors are those of `errors`;
times are aware UTC datetimes; nothing returned is changed later by anybody.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Mapping, Sequence
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal, Protocol, TypeVar

from gateway.domain.condition import Condition
from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.domain.gate import GateState
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
from gateway.domain.target import Target
from gateway.domain.transmitter import Kind
from gateway.domain.urgency import Urgency
from gateway.domain.wait import RosterWait
from gateway.domain.why import Why

__all__ = [
    "Aim",
    "Archive",
    "BlockCrcs",
    "ClearingDesk",
    "Commit",
    "Comparison",
    "Conditions",
    "Delivered",
    "Delivery",
    "Documents",
    "EventFilter",
    "EventRejected",
    "Fetched",
    "FetchedRevocations",
    "Gates",
    "Held",
    "Journal",
    "KeptPasswords",
    "Ledger",
    "LineCount",
    "LineCounts",
    "ListLedger",
    "ListedRevocation",
    "LiveView",
    "MirrorKeeper",
    "Mirrors",
    "NotModified",
    "Outbox",
    "OutboxRow",
    "Outlet",
    "OutletDesk",
    "OutletDisabled",
    "OutletState",
    "Parcel",
    "PasswordMemory",
    "Plans",
    "Progress",
    "Proofs",
    "Receiver",
    "ReceiverFacts",
    "Report",
    "RestoreDesk",
    "RestoreOrder",
    "RestorePreview",
    "RestoreRuns",
    "RetryLater",
    "RevocationListSource",
    "Revocations",
    "RosterAcceptance",
    "RosterArchive",
    "RosterCheck",
    "RosterDesk",
    "RosterReader",
    "RosterSource",
    "RosterState",
    "RosterWaits",
    "Runs",
    "Sample",
    "SampleOutcome",
    "SetAside",
    "SettingsDesk",
    "SlotDifference",
    "SnapshotDesk",
    "SnapshotHead",
    "Snapshots",
    "SyncRuns",
    "Timetable",
    "Token",
    "Tokens",
    "Trust",
    "Whys",
]

T = TypeVar("T")

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
    `documents` replace what is kept under their keys: frozen dataclasses of plain fields.
    """

    events: tuple[EventDraft, ...] = ()
    cursors: Mapping[str, RingPlace] = field(default_factory=dict)
    mirror: Mirror | None = None
    plans: tuple[Plan, ...] = ()
    proven: tuple[tuple[int, str], ...] = ()
    unproven: tuple[int, ...] = ()
    runs: Mapping[str, datetime] = field(default_factory=dict)
    documents: Mapping[str, Any] = field(default_factory=dict)


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

    async def begin_wait(self, wait: RosterWait) -> None:
        """The roster waits at this receiver from now on, whatever becomes of the database. Replaces an earlier one."""
        ...

    async def end_wait(self, receiver: str) -> None: ...

    def waits(self) -> dict[str, RosterWait]:
        """Those in force, by receiver."""
        ...


class ListLedger(Protocol):
    """What the revocation list needs of the ledger."""

    def revocations(self) -> dict[int, Revocation]:
        """In force now, by serial."""
        ...

    async def accept_list(self, acceptance: RosterAcceptance) -> None:
        """Which revocation list was last followed to its end. Durable when it returns."""
        ...

    @property
    def accepted_list(self) -> RosterAcceptance | None: ...


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


class Documents(Protocol):
    """What a use case remembers over a restart; written through `Journal.commit` alone, gone with the database."""

    def load(self, key: str, kind: type[T]) -> T | None:
        """What was last committed under this key, None when there is none that can be read."""
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

    async def export(self, snapshot_id: str) -> bytes:
        """The file as it is, to be kept elsewhere. Raises as `read`."""
        ...

    async def parse(self, content: bytes) -> Snapshot:
        """A snapshot from a file that came from outside; nothing is kept.

        Raises Refused with `snapshot-damaged` (the message says where it departs from the schema) or
        `snapshot-too-new`.
        """
        ...

    async def remove(self, snapshot_id: str) -> None:
        """Gone for good; one that isn't there is no error."""
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
    """The bytes of the roster file and of its group file (None when there is none), and what to ask with next.

    Where signatures are asked for, they come along (None when there is none), and once they are verified `revision`
    is what they state. The same files are equal whoever signed them.
    """

    roster: bytes
    groups: bytes | None
    tag: str
    signature: bytes | None = field(default=None, compare=False)
    groups_signature: bytes | None = field(default=None, compare=False)
    revision: int | None = field(default=None, compare=False)


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


@dataclass(frozen=True, slots=True)
class ListedRevocation:
    """One line of a revocation list: this serial is revoked, or (`lift`) no longer is."""

    serial: int
    reason: str
    lift: bool = False


@dataclass(frozen=True, slots=True)
class FetchedRevocations:
    """A verified revocation list. `faults` are lines that can't be read; those in `entries` can."""

    entries: tuple[ListedRevocation, ...]
    faults: tuple[Fault, ...]
    revision: int
    digest: str
    tag: str


class RevocationListSource(Protocol):
    """Where the signed revocation list beside the roster comes from."""

    @property
    def place(self) -> str:
        """Path or address for people, without credentials."""
        ...

    async def fetch(self, tag: str | None) -> FetchedRevocations | NotModified:
        """Raises SourceUnreachable, SourceRefused (unsigned, expired, no such list ...)."""
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
    unreachable: bool = False


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


Aim = Callable[[Mirror, Collection[int]], Target]
"""What a receiver is to hold, decided from its mirror and the serials that are revoked. May raise Refused."""


class RestoreRuns(Protocol):
    """Writing what a snapshot wants into a receiver, as plans of the usual kind (implemented by sync/)."""

    def draft(self, mirror: Mirror, aim: Aim, *, reason: str) -> Plan:
        """What would be written from this mirror, with the guard's word; nothing is written or kept."""
        ...

    async def start(
        self,
        receiver: str,
        aim: Aim,
        *,
        reason: str,
        snapshot: str,
        asked_by: str,
        before: Callable[[], Awaitable[None]] | None = None,
    ) -> Plan:
        """Let the roster wait, plan and write in the background; returns the durable plan, held where the guard says.

        `before` is awaited first, when nobody else may plan or write any more. Raises as `SyncRuns.start`, and what
        `aim` and `before` raise; nothing is then written.
        """
        ...

    def turn(self, receiver: str) -> AbstractAsyncContextManager[None]:
        """Nobody else plans for this receiver while the body runs. Raises NotFound, Refused with `plan-running`."""
        ...


class RosterWaits(Protocol):
    """The receivers at which the roster waits (implemented by sync/)."""

    def all(self) -> Mapping[str, RosterWait]:
        """By receiver; those that a newer roster has ended are not among them."""
        ...

    async def begin(self, wait: RosterWait) -> None:
        """Durable and told when it returns. Plans of this receiver that waited for approval are superseded."""
        ...

    async def approve(self, receiver: str, what: Literal["roster", "snapshot"], *, asked_by: str) -> None:
        """`roster`: it is brought again from the next run on. `snapshot`: what the receiver holds stays until another
        roster is accepted. Raises NotFound when nothing waits there."""
        ...


@dataclass(frozen=True, slots=True)
class SnapshotHead:
    """A snapshot without its slots. `slots` is how many there are."""

    id: str
    receiver: str
    taken: datetime
    clock_trusted: bool
    reason: str
    serial: str
    revision: int
    slots: int


@dataclass(frozen=True, slots=True)
class SlotDifference:
    """One transmitter that differs. `before` and `after` are its slots there, None where it is missing."""

    kind: Literal["added", "missing", "changed"]
    serial: int
    before: Slot | None
    after: Slot | None
    words: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the right side has otherwise than the left one; all but `slots` are sentences.

    `modes`, `limits` and `notes` (identity, link password) are what no restore can set.
    """

    left: str
    right: str
    slots: tuple[SlotDifference, ...]
    settings: tuple[str, ...] = ()
    modes: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def alike(self) -> bool:
        """True when neither slots nor settings differ."""
        return not self.slots and not self.settings


class SnapshotDesk(Protocol):
    """Snapshots as people ask for them (implemented by archive/)."""

    async def take(self, receiver: str) -> SnapshotHead:
        """Bring the mirror up to date and archive it. Raises as `MirrorKeeper.refresh`."""
        ...

    async def take_in(self, content: bytes) -> SnapshotHead:
        """Keep a file of another site, under a receiver name that starts with `import.`. The same one twice is one.

        Raises as `Snapshots.parse`.
        """
        ...

    async def heads(
        self, receiver: str | None = None, *, limit: int = 50, before: str | None = None
    ) -> tuple[SnapshotHead, ...]:
        """Newest first; `before` is an id to go on from. Damaged files are passed over."""
        ...

    async def head(self, snapshot_id: str) -> SnapshotHead:
        """Raises as `Snapshots.read`."""
        ...

    async def export(self, snapshot_id: str) -> bytes:
        """The file as it is. Raises as `Snapshots.read`."""
        ...

    async def compare(self, left: str, right: str | None) -> Comparison:
        """Two snapshots; with `right` None the snapshot and the mirror of its receiver.

        A name of a receiver in the place of an id stands for its mirror. Raises as `Snapshots.read`, and Refused with
        `mirror-unread`.
        """
        ...


@dataclass(frozen=True, slots=True)
class RestoreOrder:
    """What somebody wants to be restored, and where.

    `way`: `restore` brings a receiver back to its own snapshot, `replace` makes it hold another's, `merge` adds what
    it lacks. `replacement` is the serial of a new receiver that somebody says is the right one; None leaves that alone.
    """

    receiver: str
    snapshot: str
    way: Literal["restore", "replace", "merge"] = "restore"
    settings: bool = False
    replacement: str | None = None


@dataclass(frozen=True, slots=True)
class RestorePreview:
    """`board` is what to set at the board first, `notes` what else differs, `settings` what would be set, in words.

    `answers` is who answers now, `taken_from` who the snapshot is of. `unconfirmed` tells that it answers in the place
    of another one and nobody has said that it is the right one.
    """

    plan: Plan
    board: tuple[str, ...]
    notes: tuple[str, ...]
    settings: tuple[str, ...]
    answers: Identity
    taken_from: Identity
    unconfirmed: bool


class RestoreDesk(Protocol):
    """Restoring and cloning (implemented by archive/)."""

    async def preview(self, order: RestoreOrder) -> RestorePreview:
        """Nothing is written or kept.

        Raises as `Snapshots.read` and `MirrorKeeper.refresh`, Refused with `snapshot-of-another` or `receiver-full`.
        """
        ...

    async def start(self, order: RestoreOrder, *, asked_by: str) -> Plan:
        """As previewed, in the background. Also Refused with `identity-differs`, `plan-running`."""
        ...


class ClearingDesk(Protocol):
    """Clearing a receiver for its removal (implemented by archive/)."""

    async def reset(self, receiver: str, *, typed: str, asked_by: str) -> SnapshotHead:
        """Snapshot, factory reset, proof that it is empty; the roster waits. `typed` is the name as somebody typed it.

        Raises Refused with `name-differs` or `plan-running`, Unsupported, NotProven, LineError, PeerError.
        """
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


@dataclass(frozen=True, slots=True)
class KeptPasswords:
    """Link passwords that may be in force, likeliest first; `given` is what the settings had when they were kept."""

    given: str
    candidates: tuple[str, ...]


class PasswordMemory(Protocol):
    """Link passwords of one receiver that were changed through the gateway (implemented by store/)."""

    def load(self) -> KeptPasswords | None: ...

    def keep(self, passwords: KeptPasswords) -> None:
        """Durable when this returns. Raises StoreUnavailable. Blocks for one synced write."""
        ...


class Gates(Protocol):
    """The gates at this moment (implemented by watch/)."""

    def gates(self) -> tuple[GateState, ...]:
        """All of them, in the order of the settings."""
        ...

    def gate(self, name: str) -> GateState:
        """Raises NotFound."""
        ...


class Conditions(Protocol):
    """What needs a person (implemented by watch/)."""

    def open(self) -> tuple[Condition, ...]:
        """Raised and not cleared, newest first."""
        ...

    def recent(self) -> tuple[Condition, ...]:
        """Cleared a while ago at most, newest first."""
        ...

    async def acknowledge(self, condition_id: str, *, name: str, note: str) -> Condition:
        """Somebody has taken note; ends those that end by that. Raises NotFound, StoreUnavailable, and Refused with
        `condition-cleared` or `acknowledged-already`."""
        ...


class Whys(Protocol):
    """Why does it not open? (implemented by watch/)"""

    async def explain(self, holder: str) -> tuple[Why, ...]:
        """One answer for each transmitter of a holder, given by name or by serial. Raises NotFound."""
        ...


@dataclass(frozen=True, slots=True)
class LineCount:
    """Requests sent on a line, and exchanges spoilt by noise, both since the start."""

    sent: int
    spoilt: int


class LineCounts(Protocol):
    """How well frames come through (implemented by daemon, over line/)."""

    def counts(self) -> Mapping[str, LineCount]:
        """By name of the line."""
        ...


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


# --- outlets: where events go (implemented by outlets/, their delivery state by store/) -----------------------


@dataclass(frozen=True, slots=True)
class Parcel:
    """One event on its way out.

    `ordinal` rises by one with each event that an outlet is done with, over restarts too, so that a protocol which
    numbers its messages gives a retry the number of the first try. `attempt` counts tries from 1. A `test` is sent
    because somebody wants to see it arrive, and is marked so wherever the protocol can say it.
    """

    event: Event
    ordinal: int = 1
    attempt: int = 1
    test: bool = False


@dataclass(frozen=True, slots=True)
class Delivered:
    """The other side has it. `answer` is what it said, in few words."""

    answer: str = ""


@dataclass(frozen=True, slots=True)
class RetryLater:
    """The endpoint fails; the queue waits. `after_s` is the least wait that the other side asked for."""

    problem: str
    remedy: str = ""
    after_s: float | None = None


@dataclass(frozen=True, slots=True)
class EventRejected:
    """The endpoint works and does not want this event; after three tries it is set aside and order goes on."""

    problem: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class OutletDisabled:
    """The other side wants nothing any more; nothing is sent until a person replays or the settings change."""

    problem: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """Nothing is wrong and it is not the time (quiet hours, too many already). Asked again after `seconds`."""

    reason: str
    seconds: float


Delivery = Delivered | RetryLater | EventRejected | OutletDisabled | Held
Report = Callable[[Delivered | RetryLater], Awaitable[None]]
"""How an outlet tells of its connection while no event is on its way."""


@dataclass(frozen=True, slots=True)
class Sample:
    """An event that an outlet would send, made up for a test; `words` say what it stands for."""

    words: str
    draft: EventDraft


class Outlet(Protocol):
    """One place where events go. Never raises for what the other side does: that is an outcome."""

    @property
    def name(self) -> str:
        """The settings' name of this outlet."""
        ...

    @property
    def kind(self) -> str:
        """`webhook`, `mqtt`, `alarm` or `mail`."""
        ...

    @property
    def place(self) -> str:
        """Where it goes, for people; without secrets."""
        ...

    @property
    def batch(self) -> int:
        """The most events that one `deliver` takes."""
        ...

    def wants(self, event: Event) -> bool:
        """Whether this event goes there at all."""
        ...

    def delay_s(self, failures: int) -> float:
        """How long to wait after this many failures in a row (1 and up), jitter included."""
        ...

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        """Send, and return when the other side has answered or its time is up. All parcels share the outcome."""
        ...

    async def run(self, report: Report) -> None:
        """What lives beside deliveries (a connection, supervision, a digest). Never returns."""
        ...

    def samples(self) -> tuple[Sample, ...]:
        """One made-up event for each that this outlet would send."""
        ...


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """How far one outlet has come.

    `cursor` is the number of the last event it is done with, `done` counts them. `failures` and `rejections` are
    those of the event behind the cursor, `next_try` when it is tried again. `failing_since` is set while
    `outlet.failing` stands. `disabled` says why nothing is sent, empty while something is. `lost` counts events that
    the journal forgot before they were sent. `endpoint` is a digest of where it went: another one starts clean.
    """

    outlet: str
    cursor: int
    done: int = 0
    failures: int = 0
    rejections: int = 0
    next_try: datetime | None = None
    failing_since: datetime | None = None
    disabled: str = ""
    set_aside: int = 0
    lost: int = 0
    endpoint: str = ""


@dataclass(frozen=True, slots=True)
class SetAside:
    """An event that an outlet refused three times: its number in the journal, and what was said."""

    outlet: str
    number: int
    name: EventName
    receiver: str
    problem: str
    time: datetime


class Outbox(Protocol):
    """Delivery state of every outlet. The events themselves stay in the journal."""

    def rows(self) -> Mapping[str, OutboxRow]:
        """By outlet, as last marked or saved."""
        ...

    def mark(self, row: OutboxRow, *, lazy: bool = False) -> None:
        """Known at once, durable with the journal's next commit or the next `flush` (lazy: not with a flush)."""
        ...

    async def flush(self) -> None:
        """Make what was marked durable, if any of it was not lazy. Raises StoreUnavailable."""
        ...

    async def save(self, row: OutboxRow, aside: SetAside | None = None) -> None:
        """Durable when it returns, together with an event set aside. Raises StoreUnavailable."""
        ...

    async def set_asides(self, outlet: str, *, limit: int = 100) -> tuple[SetAside, ...]:
        """Newest first. The newest 1000 of an outlet are kept."""
        ...

    async def forget_others(self, outlets: Collection[str]) -> None:
        """Forget all outlets but these."""
        ...


@dataclass(frozen=True, slots=True)
class OutletState:
    """An outlet at this moment. `state` is `idle`, `sending`, `held`, `retrying`, `failing` or `disabled`.

    `lag` is how many events of the journal are still before it. `problem` and `remedy` are sentences for people.
    """

    name: str
    kind: str
    place: str
    state: str
    row: OutboxRow
    lag: int
    waiting_since: datetime | None = None
    problem: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class SampleOutcome:
    """What became of one test event: `outcome` is `delivered`, `failed`, `rejected` or `not-tried`."""

    sample: Sample
    event: Event
    outcome: str
    answer: str
    took_s: float


class OutletDesk(Protocol):
    """Outlets as people see them (implemented by outlets/)."""

    def states(self) -> tuple[OutletState, ...]: ...

    def state(self, name: str) -> OutletState:
        """Raises NotFound."""
        ...

    async def set_asides(self, name: str) -> tuple[SetAside, ...]:
        """Newest first, at most 100. Raises NotFound."""
        ...

    async def test(self, name: str) -> tuple[SampleOutcome, ...]:
        """Send each kind of event once as a test, at once, beside the queue. Raises NotFound."""
        ...

    async def replay(self, name: str, first: EventId) -> OutletState:
        """Send again from this event on, or go on there; also lets a disabled outlet send again.

        Raises NotFound, and Refused with `replay-out-of-range` when the journal does not hold that event.
        """
        ...
