"""What the transmitters that were just heard said of their batteries.

Read before the presses are told, so that an event carries it. It is an extra: a receiver that has no such record, stays
locked or fails for the moment costs the extra and never the event.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gateway.domain.receiver import Battery, BoardEvent, Capability, RingEntry
from gateway.domain.urgency import Urgency
from gateway.errors import LineError, PeerError
from gateway.ports import Receiver

__all__ = ["batteries_of"]

#: More than people can press between two polls; after a gap the newest count. Our choice.
_MOST = 4


async def batteries_of(
    receiver: Receiver, entries: Iterable[RingEntry], urgency: Urgency = Urgency.POLL
) -> Mapping[int, Battery]:
    """By serial, of the transmitters among these entries that the receiver knows; at most the four heard last."""
    if Capability.BATTERY not in receiver.capabilities:
        return {}
    slots = {entry.slot: entry.serial for entry in entries if entry.kind is BoardEvent.PRESS and entry.slot}
    newest = dict(list(slots.items())[-_MOST:])
    if not newest:
        return {}
    try:
        read = await receiver.read_batteries(newest.keys(), urgency=urgency)
    except (LineError, PeerError):
        return {}
    return {newest[slot]: battery for slot, battery in read.items()}
