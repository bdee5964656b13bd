"""What lasts: journal, mirrors, plans, ledger, documents, tokens, audit; implemented by `store`."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol, TypeVar

from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.domain.receiver import RingPlace, Slot
from gateway.domain.revocation import Revocation
from gateway.domain.snapshot import Snapshot
from gateway.domain.wait import RosterWait

__all__ = [
    "Audit",
    "AuditCheck",
    "AuditRow",
    "Commit",
    "Documents",
    "EventFilter",
    "Journal",
    "Ledger",
    "ListLedger",
    "Mirrors",
    "Plans",
    "Proofs",
    "RosterAcceptance",
    "Runs",
    "Seal",
    "Snapshots",
    "Token",
    "Tokens",
]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Commit:
    """Things that become durable together, or not at all.

    `cursors` are ring places by receiver. `mirror` replaces that receiver's whole mirror (the store writes only
    what differs; its `cursor` is ignored, `cursors` alone moves it). `plans` are saved as they stand.
    `proven` are revocations (serial, receiver) whose absence from a receiver's memory has been read.
    `unproven` are serials whose older proofs no longer count (revoked anew); they go before `proven`.
    `runs` are the due times that timetables, by name, have now run for.
    `documents` replace what is kept under their keys: frozen dataclasses of plain fields. None removes what is there.
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
    """Which events; empty means all. Of wall time `since` is inside and `until` is not."""

    names: frozenset[EventName] = frozenset()
    receivers: frozenset[str] = frozenset()
    since: datetime | None = None
    until: datetime | None = None


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

    async def tally(self, wanted: EventFilter, outputs: Collection[int] = ()) -> Mapping[datetime, int]:
        """How many events there are in each quarter of an hour that has any, by its beginning (UTC).

        With `outputs` only those whose data name one of them among their `outputs`; presses while a receiver
        listens for a new transmitter don't count. Every zone's hours and days begin with a quarter of an hour.
        """
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

    async def unfinished(self, receiver: str | None = None) -> tuple[Plan, ...]:
        """Plans whose state is not final, oldest first; of one receiver, or of all."""
        ...


@dataclass(frozen=True, slots=True)
class RosterAcceptance:
    """Which roster was last accepted. `revision` is a signed file's number, None when unsigned.

    `clock_trusted` says whether `time` was known to be right; False also where nobody noted it.
    """

    digest: str
    time: datetime
    revision: int | None = None
    clock_trusted: bool = False


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
    """The whole chain recomputed, as far back as it is kept. `broken` is the first row that does not fit, None when all
    do; `problem` says why."""

    rows: int
    head: str
    broken: int | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Seal:
    """The audit's newest row: its number and the chain's hash, in hex."""

    number: int
    hash: str


class Audit(Protocol):
    """Who changed or asked for what: rows that can be added and erased in part, never altered unnoticed."""

    @property
    def seal(self) -> Seal | None:
        """From memory; None while there is no row."""
        ...

    async def record(
        self, who: str, what: str, detail: Mapping[str, Any] | None = None, *, outcome: str = "done"
    ) -> AuditRow:
        """Durable when it returns. `detail` is plain JSON; serials and names belong there, never in `what`."""
        ...

    async def read(self, *, limit: int = 100, before: int = 0) -> tuple[AuditRow, ...]:
        """Newest first; those with a number below `before` (0: from the end)."""
        ...

    async def verify(self) -> AuditCheck: ...
