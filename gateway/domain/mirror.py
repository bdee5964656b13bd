"""The gateway's copy of what a receiver holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.domain.receiver import Identity, Limits, ReceiverSettings, RingPlace, Slot

__all__ = ["Mirror"]


@dataclass(frozen=True, slots=True)
class Mirror:
    """What was last read and proven, with the revision at which it was true.

    `slots` holds only slots that exist, by number. `block_crcs` has one CRC-32 per block as the receiver
    stated it at `revision`. `cursor` is the last ring place whose event is in the journal.
    `confirmed` is False while another receiver (or an unknown one) answers and nobody has said that it may be written.
    """

    receiver: str
    identity: Identity
    limits: Limits
    revision: int
    slots: Mapping[int, Slot] = field(default_factory=dict)
    block_crcs: tuple[int, ...] = ()
    settings: ReceiverSettings | None = None
    cursor: RingPlace | None = None
    confirmed: bool = True

    def by_serial(self) -> dict[int, Slot]:
        """The slots by transmitter. Of a serial that stands twice the lowest slot is kept."""
        found: dict[int, Slot] = {}
        for number in sorted(self.slots):
            found.setdefault(self.slots[number].serial, self.slots[number])
        return found
