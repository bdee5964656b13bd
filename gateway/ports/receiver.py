"""The receiver as the use cases see it; implemented by `receivers`."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.receiver import (
    Battery,
    Capability,
    Identity,
    Limits,
    ReceiverSettings,
    RingPlace,
    RingRead,
    Slot,
    Status,
)
from gateway.domain.transmitter import Kind
from gateway.domain.urgency import Urgency

__all__ = [
    "BlockCrcs",
    "KeptPasswords",
    "PasswordMemory",
    "Receiver",
]


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

    async def read_batteries(self, slots: Collection[int], *, urgency: Urgency = Urgency.POLL) -> Mapping[int, Battery]:
        """What the transmitters of these slots said of their batteries when they were last heard."""
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
