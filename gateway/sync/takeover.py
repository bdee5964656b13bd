"""What an interrupted write of ours has left behind.

After a cut it is unknown which slots of the last frames were written. Rule 2 of the design: look at the blocks whose
CRC differs from the mirror's, and take a slot that holds the plan's target as our own write, so that it is never called
somebody else's. What holds neither the old nor the target value is left for the mirror's refresh to find.
"""

from __future__ import annotations

from collections.abc import Mapping

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.urgency import Urgency
from gateway.ports import MirrorKeeper, Receiver
from gateway.sync.book import Book
from gateway.sync.matching import same_slot

__all__ = ["take_over"]


async def take_over(
    receiver: Receiver,
    keeper: MirrorKeeper,
    mirror: Mirror,
    wanted: Mapping[int, Slot | None],
    *,
    urgency: Urgency = Urgency.BULK,
) -> int:
    """Record in the mirror which of these targets the memory holds already; returns how many those are.

    Reads only slots of the plan in blocks that differ. Raises LineError, PeerError, StoreUnavailable.
    """
    book = Book(receiver, mirror)
    stated = await receiver.read_block_crcs(urgency=urgency)
    differing = book.differing(stated)
    suspects = [
        number
        for number, target in wanted.items()
        if mirror.limits.block_of(number) in differing and not same_slot(mirror.slots.get(number), target)
    ]
    if not suspects:
        return 0
    found = await receiver.read_slots(suspects, urgency=urgency)
    ours = {number: found.get(number) for number in suspects if same_slot(found.get(number), wanted[number])}
    if ours:
        book.wrote(ours)
        await book.record(keeper, stated)
    return len(ours)
