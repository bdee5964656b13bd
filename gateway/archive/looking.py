"""What a receiver holds that nobody has said is the right one: read for a preview, and kept nowhere.

The mirror's keeper refuses such a receiver, so that nothing of it is taken for the known one's. A preview of a
replacement must know all the same what would be overwritten.
"""

from __future__ import annotations

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability
from gateway.domain.urgency import Urgency
from gateway.errors import NotProven
from gateway.ports import Receiver

__all__ = ["look_at"]


async def look_at(receiver: Receiver) -> Mirror:
    """A mirror for the eye alone; blocks that are empty are not read. Raises LineError, PeerError, NotProven."""
    identity, limits = await receiver.identify()
    settings = await receiver.read_settings() if Capability.SETTINGS in receiver.capabilities else None
    stated = await receiver.read_block_crcs()
    blocks = [b for b in range(limits.blocks) if stated.crcs[b] != receiver.block_crc(limits, b, {})]
    numbers = [number for block in blocks for number in limits.slots_of(block)]
    slots = await receiver.read_slots(numbers, urgency=Urgency.BULK) if numbers else {}
    if any(receiver.block_crc(limits, block, slots) != stated.crcs[block] for block in blocks):
        raise NotProven(
            f"What was read from {receiver.name} does not agree with the sums that it states.",
            remedy="Somebody may be working at its board; wait, and try again.",
        )
    return Mirror(receiver.name, identity, limits, stated.revision, slots, stated.crcs, settings)
