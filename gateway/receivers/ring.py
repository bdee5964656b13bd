"""The event ring: event n lies at record (n - 1) modulo the ring's size, and is read without being consumed.

An entry counts only when its full number and the low 16 bits of its boot count are those expected. One that a newer
event has overwritten is lost and counted; one that can't be explained is read once more. Numbers are taken to rise
for ever: a wrap at 32 bits (136 years at one event a second) is not handled.
"""

from __future__ import annotations

from gateway.domain.receiver import BoardEvent, Origin, RingEntry, RingPlace, RingRead, Status
from gateway.domain.urgency import Urgency
from gateway.maps import Block
from gateway.receivers.session import Session
from gateway.receivers.values import flag_of, number_of, text_of

__all__ = ["RingReader"]

_KINDS = {kind.value: kind for kind in BoardEvent}
_ORIGINS = {origin.value: origin for origin in Origin}


class RingReader:
    """The ring of one receiver."""

    def __init__(self, block: Block, session: Session) -> None:
        self._block = block
        self._session = session

    async def read(self, after: RingPlace, status: Status, size: int, urgency: Urgency) -> RingRead:
        """The events after a place, up to the newest that `status` tells of.

        An entry whose kind this program doesn't know is left out and not counted as lost.
        """
        boot, newest = status.boot_count or 0, status.newest_event or 0
        restarted = after.boot_count != boot
        begin = 1 if restarted else after.number + 1
        number = max(begin, status.oldest_event or 1, newest - size + 1)
        lost = min(number, newest + 1) - begin if newest >= begin else 0
        entries: list[RingEntry] = []
        doubted = 0
        while number <= newest:
            count = min(newest - number + 1, size - (number - 1) % size, self._records_per_frame)
            for raw in await self._session.read_records(self._block, (number - 1) % size, count, urgency):
                verdict = self._judge(raw, number, boot)
                if verdict == "doubtful" and doubted != number:
                    doubted = number
                    break
                if verdict == "doubtful" and await self._started_anew(boot, urgency):
                    return RingRead(tuple(entries), lost, restarted)
                if verdict == "expected":
                    entries += self._entry(raw, RingPlace(boot, number))
                else:
                    lost += 1
                number += 1
        return RingRead(tuple(entries), lost, restarted)

    @property
    def _records_per_frame(self) -> int:
        return max(1, self._session.asking.registers_per_frame() // self._block.count)

    async def _started_anew(self, boot: int, urgency: Urgency) -> bool:
        """Whether the receiver restarted while the ring was read; the next poll then tells of it."""
        await self._session.asking.read_status(urgency)
        return self._session.asking.boot_count != boot

    def _judge(self, raw: bytes, number: int, boot: int) -> str:
        fields = self._block.fields
        told, told_boot = fields["number"].decode(raw), fields["boot"].decode(raw)
        if told_boot != boot & 0xFFFF:
            return "doubtful"
        if told == number:
            return "expected"
        return "overwritten" if isinstance(told, int) and told > number else "doubtful"

    def _entry(self, raw: bytes, place: RingPlace) -> list[RingEntry]:
        values = self._block.decode(raw)
        kind = _KINDS.get(text_of(values, "event") or "")
        if kind is None:
            return []
        return [
            RingEntry(
                place=place,
                uptime_s=(number_of(values, "uptime") or 0) / 10,
                kind=kind,
                origin=_ORIGINS.get(text_of(values, "origin") or "", Origin.BOARD),
                serial=number_of(values, "serial") or 0,
                slot=number_of(values, "slot") or 0,
                position=number_of(values, "position") or 0,
                number=number_of(values, "index") or 0,
                value=number_of(values, "value") or 0,
                enrolling=bool(flag_of(values, "enrolling")),
            )
        ]
