"""The receiver that no line reaches: limits from the settings, and nothing that could be asked.

It stands where a driver stands so that roster, plans and papers need not care. Whatever would need a wire raises
`Unsupported` and says where the work is done instead: on the visit sheet (see `docs/visit-sheets.md`).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import NoReturn

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

__all__ = ["MANUAL", "HandBook", "ManualReceiver"]

MANUAL = "manual"
"""The map's name in the identity of a receiver without a line."""


class ManualReceiver:
    """`ports.Receiver` for a receiver without a line."""

    def __init__(self, name: str, limits: Limits) -> None:
        self._name = name
        self._limits = limits

    @property
    def name(self) -> str:
        return self._name

    @property
    def limits(self) -> Limits:
        """As the settings state them."""
        return self._limits

    @property
    def identity(self) -> Identity:
        """Nobody answers, so nothing is known but how it is kept."""
        return Identity(maker="", product="", version="", serial="", map_name=MANUAL, map_version=0)

    @property
    def capabilities(self) -> frozenset[Capability]:
        return frozenset({Capability.SLOTS})

    @property
    def slots_per_write(self) -> int:
        return 1

    def block_crc(self, limits: Limits, block: int, slots: Mapping[int, Slot]) -> int:
        """There is no sum to compare with."""
        return 0

    def kind_code(self, kind: Kind) -> int:
        """A board that is worked by hand is not told the kind."""
        return 0

    def fit_name(self, limits: Limits, name: str) -> str:
        """Names are kept by the gateway alone, at full length."""
        return name

    def wire_seconds(self, *, slots_written: int, blocks_checked: int) -> float:
        return 0.0

    # --- what needs a wire ---

    async def identify(self, *, urgency: Urgency = Urgency.CONTROL) -> tuple[Identity, Limits]:
        self._no_line()

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status:
        self._no_line()

    async def read_ring(self, after: RingPlace, status: Status, *, urgency: Urgency = Urgency.POLL) -> RingRead:
        self._no_line()

    async def read_batteries(self, slots: Collection[int], *, urgency: Urgency = Urgency.POLL) -> Mapping[int, Battery]:
        self._no_line()

    async def read_settings(self, *, urgency: Urgency = Urgency.CONTROL) -> ReceiverSettings:
        self._no_line()

    async def write_on_time(self, output: int, seconds: int) -> None:
        self._no_line()

    async def write_local_programming(self, allowed: bool) -> None:
        self._no_line()

    async def write_password(self, new: str) -> None:
        self._no_line()

    async def read_block_crcs(self, *, urgency: Urgency = Urgency.CONTROL) -> BlockCrcs:
        self._no_line()

    async def read_slots(self, numbers: Collection[int], *, urgency: Urgency = Urgency.BULK) -> dict[int, Slot]:
        self._no_line()

    async def write_slots(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, *, urgency: Urgency = Urgency.BULK
    ) -> None:
        self._no_line()

    async def listen(self, seconds: int) -> None:
        self._no_line()

    async def factory_reset(self) -> None:
        self._no_line()

    def _no_line(self) -> NoReturn:
        raise Unsupported(
            f"No line reaches {self._name}; it is worked by hand.",
            remedy=f"What is to be done there stands on its visit sheet: gatepost visit-sheet show {self._name}",
        )


class HandBook:
    """What the settings state of each receiver without a line, by name."""

    def __init__(self, receivers: Mapping[str, ManualReceiver]) -> None:
        self._receivers = receivers

    def limits(self, receiver: str) -> Limits:
        return self._receivers[receiver].limits

    def identity(self, receiver: str) -> Identity:
        return self._receivers[receiver].identity
