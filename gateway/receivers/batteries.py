"""What the receiver keeps of transmitters' batteries: a record for each slot, outside the block CRCs."""

from __future__ import annotations

from collections.abc import Collection

from gateway.domain.receiver import Battery, Limits
from gateway.domain.urgency import Urgency
from gateway.maps import Block
from gateway.receivers.session import Session
from gateway.receivers.values import text_of

__all__ = ["Batteries"]

_STATES = {state.value: state for state in Battery}


class Batteries:
    """The block `slot-volatile` of a map. A map that has no field `battery` there knows of none."""

    def __init__(self, block: Block, session: Session) -> None:
        self._block = block
        self._session = session

    async def read(self, numbers: Collection[int], limits: Limits, urgency: Urgency) -> dict[int, Battery]:
        """By slot number, one short frame each: few are asked for at a time. Numbers that don't exist are left out."""
        found = {}
        for number in sorted({number for number in numbers if 1 <= number <= limits.slots}):
            (raw,) = await self._session.read_records(self._block, number - 1, 1, urgency)
            found[number] = _STATES.get(text_of(self._block.decode(raw), "battery") or "", Battery.UNKNOWN)
        return found
