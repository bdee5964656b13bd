"""How often a unit is worth asking: one that has been silent for long gets one try, until it is heard again.

DESIGN rule 13: a silent receiver delays its neighbours by at most one probe. A unit that answers now and then is no
silent one, so the usual tries are given up only after three requests in a row, none of which brought a single byte
back in all its tries. Knows nothing of time: how often a silent unit is asked at all is `watch`'s business.
"""

from __future__ import annotations

__all__ = ["SILENT_REQUESTS", "Silence"]

#: Our choice: as many as the polls after which people are told that a receiver is silent.
SILENT_REQUESTS = 3


class Silence:
    """By unit address, how many requests in a row brought nothing."""

    def __init__(self) -> None:
        self._in_vain: dict[int, int] = {}

    def tries(self, address: int, usual: int) -> int:
        """How often to send a request to this unit at most."""
        return 1 if self._in_vain.get(address, 0) >= SILENT_REQUESTS else usual

    def in_vain(self, address: int) -> None:
        """A request ended without a byte."""
        self._in_vain[address] = self._in_vain.get(address, 0) + 1

    def heard(self, address: int) -> None:
        """It said something."""
        self._in_vain.pop(address, None)
