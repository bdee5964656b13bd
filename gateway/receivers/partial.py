"""A base for drivers that can do only some of `ports.Receiver`: everything else is `Unsupported`.

A driver of another package derives from it, states its capabilities and overrides what it can do.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

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
from gateway.errors import Unsupported
from gateway.ports import BlockCrcs

__all__ = ["PartialReceiver"]


class PartialReceiver:
    """Override `identify` and `read_status`, and the methods of each capability that is stated."""

    def __init__(self, name: str, capabilities: frozenset[Capability] = frozenset()) -> None:
        self._name = name
        self._capabilities = capabilities

    @property
    def name(self) -> str:
        """The settings' name of this receiver."""
        return self._name

    @property
    def capabilities(self) -> frozenset[Capability]:
        """What it can do beyond telling its status."""
        return self._capabilities

    async def identify(self, *, urgency: Urgency = Urgency.CONTROL) -> tuple[Identity, Limits]:
        """Who answers, and its limits."""
        raise NotImplementedError("a driver must override identify")

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status:
        """One poll."""
        raise NotImplementedError("a driver must override read_status")

    async def read_ring(self, after: RingPlace, status: Status, *, urgency: Urgency = Urgency.POLL) -> RingRead:
        """Part of `events`."""
        raise self._unsupported(Capability.EVENTS)

    async def read_batteries(self, slots: Collection[int], *, urgency: Urgency = Urgency.POLL) -> Mapping[int, Battery]:
        """Part of `battery`."""
        raise self._unsupported(Capability.BATTERY)

    async def read_settings(self, *, urgency: Urgency = Urgency.CONTROL) -> ReceiverSettings:
        """Part of `settings`."""
        raise self._unsupported(Capability.SETTINGS)

    async def write_on_time(self, output: int, seconds: int) -> None:
        """Part of `settings`."""
        raise self._unsupported(Capability.SETTINGS)

    async def write_local_programming(self, allowed: bool) -> None:
        """Part of `settings`."""
        raise self._unsupported(Capability.SETTINGS)

    async def write_password(self, new: str) -> None:
        """Part of `password`."""
        raise self._unsupported(Capability.PASSWORD)

    async def read_block_crcs(self, *, urgency: Urgency = Urgency.CONTROL) -> BlockCrcs:
        """Part of `slots`."""
        raise self._unsupported(Capability.SLOTS)

    async def read_slots(self, numbers: Collection[int], *, urgency: Urgency = Urgency.BULK) -> dict[int, Slot]:
        """Part of `slots`."""
        raise self._unsupported(Capability.SLOTS)

    async def write_slots(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, *, urgency: Urgency = Urgency.BULK
    ) -> None:
        """Part of `slots`."""
        raise self._unsupported(Capability.SLOTS)

    @property
    def slots_per_write(self) -> int:
        """Part of `slots`."""
        raise self._unsupported(Capability.SLOTS)

    def block_crc(self, limits: Limits, block: int, slots: Mapping[int, Slot]) -> int:
        """Part of `slots`."""
        raise self._unsupported(Capability.SLOTS)

    def kind_code(self, kind: Kind) -> int:
        """Part of `slots`; 0 stands for "not stated"."""
        return 0

    def fit_name(self, limits: Limits, name: str) -> str:
        """Part of `slots`; without them no name is kept."""
        return ""

    def wire_seconds(self, *, slots_written: int, blocks_checked: int) -> float:
        """Part of `slots`."""
        return 0.0

    async def listen(self, seconds: int) -> None:
        """Part of `enrolment`."""
        raise self._unsupported(Capability.ENROLMENT)

    async def factory_reset(self) -> None:
        """Part of `reset`."""
        raise self._unsupported(Capability.RESET)

    def _unsupported(self, capability: Capability) -> Unsupported:
        return Unsupported(
            f"{self._name} can't do that from here: its driver has no {capability.value}.",
            remedy="Do it at the board.",
        )
