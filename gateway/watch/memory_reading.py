"""Reading a receiver's settings and slots until they are proven.

What is known is compared with the block sums that the receiver states; only blocks that differ are read. Of
a receiver that was never read an empty memory is supposed, so its empty blocks need no reading either. The proof
is the next statement of the sums: everything known must agree with it, at a revision that did not move while the
settings were read. An unchanged receiver thus costs one reading of the sums.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability, Limits, ReceiverSettings, Slot
from gateway.domain.urgency import Urgency
from gateway.errors import NotProven
from gateway.ports import BlockCrcs, Progress, Receiver

__all__ = ["MemoryReading", "Proven", "nothing_to_report"]

#: How often a block may disagree with its sum at a revision that stands still, before something is wrong.
MISMATCHES = 3
#: How often the revision may move on before the reading is given up, to be tried again later.
MOVES = 20


@dataclass(frozen=True, slots=True)
class Proven:
    """What the receiver holds, true at `revision`."""

    revision: int
    slots: dict[int, Slot]
    crcs: tuple[int, ...]
    settings: ReceiverSettings | None


def nothing_to_report(done: int, total: int, words: str) -> None:
    """Progress that nobody watches."""


class MemoryReading:
    """One reading of one receiver. `urgency` is asked before each request, so that it may rise on the way."""

    def __init__(
        self,
        receiver: Receiver,
        limits: Limits,
        *,
        known: Mirror | None,
        settings_known: bool,
        urgency: Callable[[], Urgency],
        progress: Progress = nothing_to_report,
    ) -> None:
        self._receiver = receiver
        self._limits = limits
        self._urgency = urgency
        self._progress = progress
        self._has_slots = Capability.SLOTS in receiver.capabilities and limits.blocks > 0
        self._has_settings = Capability.SETTINGS in receiver.capabilities
        self._slots = {n: slot for n, slot in known.slots.items() if n <= limits.slots} if known else {}
        self._sums = self._known_sums(known)
        self._settings = known.settings if known else None
        self._settings_at = known.revision if known and settings_known and known.settings else None

    async def run(self, revision: int) -> Proven:
        """Read and prove, from the revision that the status stated. Raises NotProven, LineError, PeerError."""
        mismatches = moves = 0
        while True:
            if self._has_settings and self._settings_at != revision:
                self._settings = await self._receiver.read_settings(urgency=min(self._urgency(), Urgency.CONTROL))
                self._settings_at = revision
            stated = await self._stated()
            moved, revision = stated.revision != revision, stated.revision
            differing = self._differing(stated)
            if not moved and not differing:
                return Proven(revision, self._slots, stated.crcs, self._settings)
            moves, mismatches = (moves + 1, 0) if moved else (moves, mismatches + 1)
            self._give_up(mismatches, moves)
            await self._read_blocks(differing)

    def _differing(self, stated: BlockCrcs) -> list[int]:
        """The blocks that must be read. One that states the sum of an empty block is empty, and is not: a receiver that
        was cleared is proven so in one reading of its sums."""
        differing = []
        for block, (have, said) in enumerate(zip(self._sums, stated.crcs, strict=True)):
            if have == said:
                continue
            if said == self._receiver.block_crc(self._limits, block, {}):
                for number in self._limits.slots_of(block):
                    self._slots.pop(number, None)
                self._sums[block] = said
            else:
                differing.append(block)
        return differing

    def _known_sums(self, known: Mirror | None) -> list[int | None]:
        if not self._has_slots:
            return []
        if known is not None and known.limits == self._limits and len(known.block_crcs) == self._limits.blocks:
            return list(known.block_crcs)
        if self._slots:
            return [None] * self._limits.blocks
        return [self._receiver.block_crc(self._limits, block, {}) for block in range(self._limits.blocks)]

    async def _stated(self) -> BlockCrcs:
        if self._has_slots:
            return await self._receiver.read_block_crcs(urgency=min(self._urgency(), Urgency.CONTROL))
        status = await self._receiver.read_status(urgency=min(self._urgency(), Urgency.CONTROL))
        return BlockCrcs(status.revision or 0, ())

    async def _read_blocks(self, blocks: Sequence[int]) -> None:
        total = sum(len(self._limits.slots_of(block)) for block in blocks)
        done = 0
        for block in blocks:
            numbers = self._limits.slots_of(block)
            self._progress(done, total, "reading what the receiver holds")
            found = await self._receiver.read_slots(numbers, urgency=self._urgency())
            for number in numbers:
                self._slots.pop(number, None)
            self._slots.update(found)
            self._sums[block] = self._receiver.block_crc(self._limits, block, self._slots)
            done += len(numbers)
        if blocks:
            self._progress(done, total, "reading what the receiver holds")

    def _give_up(self, mismatches: int, moves: int) -> None:
        if mismatches > MISMATCHES:
            raise NotProven(
                f"What was read from {self._receiver.name} does not agree with the sums that it states.",
                remedy="Check that the map fits this receiver; look for noise on the line. It is tried again.",
            )
        if moves > MOVES:
            raise NotProven(
                f"{self._receiver.name} changes faster than it can be read.",
                remedy="Wait until the work at the board is done. It is tried again.",
            )
