"""The event ring: the newest events of this start, read without being consumed.

Event n lies at place (n - 1) modulo the ring's size; numbers begin at 1 with each start. An entry carries its
own number and the low half of the boot count, so a reader knows an overwritten one. Source:
docs/register-map.md, "Event rules".
"""

from __future__ import annotations

from gateway.domain.receiver import RingEntry
from gateway.maps import Block

__all__ = ["Ring"]


class Ring:
    """The ring as registers. Empty places are zero."""

    def __init__(self, block: Block) -> None:
        self._block = block
        self.newest = 0
        self.image = bytearray(block.record_bytes * block.records)

    @property
    def oldest(self) -> int:
        """The number of the oldest event still there; 0 when there is none."""
        return max(1, self.newest - self._block.records + 1) if self.newest else 0

    def add(self, entry: RingEntry) -> None:
        """Take one in; its number must be the next."""
        assert entry.place.number == self.newest + 1
        self.newest += 1
        raw = self._block.encode(
            {
                "number": entry.place.number,
                "boot": entry.place.boot_count & 0xFFFF,
                "uptime": int(entry.uptime_s * 10 + 1e-6) & 0xFFFF_FFFF,
                "event": str(entry.kind),
                "origin": str(entry.origin),
                "serial": entry.serial,
                "slot": entry.slot,
                "position": entry.position,
                "index": entry.number,
                "value": entry.value,
                "enrolling": entry.enrolling,
            }
        )
        size = self._block.record_bytes
        place = (self.newest - 1) % self._block.records
        self.image[place * size : (place + 1) * size] = raw
