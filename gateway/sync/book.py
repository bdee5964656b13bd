"""What a receiver's memory must hold now: the mirror, and on top of it what we wrote and read back.

The book states the CRC-32 that every block must have. When the receiver states another for a block, somebody
else changed it; the mirror then gets our own writes but neither the new revision nor the stated CRC, so that the next
refresh finds and reads that block. Our own write is so never taken for somebody else's (rule 2 of the design).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.ports import BlockCrcs, MirrorKeeper, Receiver

__all__ = ["Book"]


class Book:
    """Kept by whoever writes, for as long as its targets are true."""

    def __init__(self, receiver: Receiver, mirror: Mirror) -> None:
        self._receiver = receiver
        self._mirror = mirror
        self._slots: dict[int, Slot] = dict(mirror.slots)
        self._crcs = list(mirror.block_crcs)
        self._recorded = list(mirror.block_crcs)
        self._revision = mirror.revision
        self._unrecorded: dict[int, Slot | None] = {}

    @property
    def seen(self) -> int:
        """The revision at which the mirror was true; what a write frame carries."""
        return self._mirror.revision

    def wrote(self, written: Mapping[int, Slot | None]) -> None:
        """These were written and read back."""
        limits = self._mirror.limits
        for number, slot in written.items():
            if slot is None:
                self._slots.pop(number, None)
            else:
                self._slots[number] = slot
        self._unrecorded |= written
        for block in {limits.block_of(number) for number in written}:
            self._crcs[block] = self._receiver.block_crc(limits, block, self._slots)

    def differing(self, stated: BlockCrcs) -> set[int]:
        """The blocks whose CRC isn't what it must be."""
        return {block for block, crc in enumerate(self._crcs) if stated.crcs[block : block + 1] != (crc,)}

    async def record(self, keeper: MirrorKeeper, stated: BlockCrcs, blocks: Collection[int] | None = None) -> None:
        """Hand the writes (in these blocks, or all) to the mirror, with what the receiver stated about its memory."""
        limits = self._mirror.limits
        ours = {n: s for n, s in self._unrecorded.items() if blocks is None or limits.block_of(n) in blocks}
        if not ours:
            return
        for block in {limits.block_of(number) for number in ours}:
            self._recorded[block] = self._crcs[block]
        whole = len(ours) == len(self._unrecorded) and not self.differing(stated)
        if whole:
            self._revision = stated.revision
        await keeper.record(self._mirror.receiver, ours, self._revision, tuple(self._recorded))
        for number in ours:
            del self._unrecorded[number]
