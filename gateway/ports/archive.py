"""Snapshots: take, compare, restore, clear; implemented by `archive`."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, Protocol

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.domain.receiver import Identity, Slot, Status
from gateway.domain.snapshot import Snapshot

__all__ = [
    "Archive",
    "ClearingDesk",
    "Comparison",
    "Keepsakes",
    "RestoreDesk",
    "RestoreOrder",
    "RestorePreview",
    "SlotDifference",
    "SnapshotDesk",
    "SnapshotHead",
]


class Archive(Protocol):
    """Taking snapshots (implemented by archive/)."""

    async def take(self, receiver: str, mirror: Mirror, *, reason: str, status: Status | None) -> Snapshot:
        """A snapshot of a mirror that is proven equal to the receiver, durable when it returns, and its event.

        `status` supplies the output modes, None when it isn't known.
        """
        ...


class Keepsakes(Protocol):
    """What a receiver held last, archived before its mirror is given up (implemented by archive/)."""

    async def keep(self, mirror: Mirror, *, reason: str, status: Status | None) -> str:
        """The id of a snapshot that holds what the mirror says: its newest one if that does, else a new one.

        `status` is the receiver's last one, None when it isn't known. Raises nothing: what can't be archived must keep
        nobody from looking, and the id is empty then.
        """
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
