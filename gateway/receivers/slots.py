"""The slots of a receiver: reading any of them, writing some in one frame, and its block CRCs."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from gateway.domain.receiver import Limits, Slot
from gateway.domain.urgency import Urgency
from gateway.errors import ReceiverRefused, Refused, WrongAnswer
from gateway.line import Timing
from gateway.maps import ReceiverMap, Role
from gateway.ports import BlockCrcs
from gateway.receivers.pace import Pace
from gateway.receivers.reading import Run, gap_worth, next_run
from gateway.receivers.session import Session
from gateway.receivers.slotcodec import SlotCodec
from gateway.receivers.values import number_of, numbers_of

__all__ = ["SlotMemory"]

CRC_TRIES = 5
CRC_WAIT_S = 0.05  # between two tries, doubled each time; our choice
WRITE_OVERHEAD_BYTES = 4  # what a write frame has more than a read frame (V1.1b3, section 6.12)


class SlotMemory:
    """The blocks `slots`, `slot-write` and `block-crcs` of a map."""

    def __init__(self, receiver_map: ReceiverMap, session: Session, timing: Timing, pace: Pace) -> None:
        self._session = session
        self._pace = pace
        self._records = receiver_map.block(Role.SLOTS)
        self._window = receiver_map.block(Role.SLOT_WRITE)
        self._crcs = receiver_map.block(Role.BLOCK_CRCS)
        self.codec = SlotCodec(self._records)
        self._gap = gap_worth(timing, self._records.record_bytes)
        seen = self._window.fields["seen"]
        self._head_registers = (seen.start_bit + seen.size_bits) // 16
        self.window_slots = (self._window.count - self._head_registers) // self._records.count

    @property
    def slots_per_read(self) -> int:
        """How many records one read takes just now; one even when that is more than the line would like."""
        return max(1, self._session.asking.registers_per_frame() // self._records.count)

    @property
    def slots_per_write(self) -> int:
        """How many records one write takes just now."""
        overhead = WRITE_OVERHEAD_BYTES + 2 * self._head_registers
        fitting = self._session.asking.registers_per_frame(overhead_bytes=overhead) // self._records.count
        return max(1, min(fitting, self.window_slots))

    async def read(self, numbers: Collection[int], limits: Limits, urgency: Urgency) -> dict[int, Slot]:
        """The slots of these numbers that exist."""
        wanted = sorted(set(numbers))
        _check_numbers(wanted, limits)
        asked, found = frozenset(wanted), dict[int, Slot]()
        while wanted:
            run = next_run(wanted, self.slots_per_read, self._gap)
            for number, slot in (await self._read_run(run, limits, urgency)).items():
                if number in asked:
                    found[number] = slot
            wanted = [number for number in wanted if number >= run.first + run.count]
        return found

    async def write(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, limits: Limits, urgency: Urgency
    ) -> None:
        """Slots and freed ones in one frame, sent at most once: a second sending would find its slots changed."""
        numbers = sorted([*(slot.number for slot in slots), *freed])
        _check_numbers(numbers, limits)
        if len(set(numbers)) != len(numbers):
            raise ValueError("a slot stands twice in one write")
        if not 0 < len(numbers) <= self.window_slots:
            raise ValueError(f"{len(numbers)} slots in one write; it takes 1 to {self.window_slots}")
        head = self._window.encode({"seen": seen})[: 2 * self._head_registers]
        data = head + self.codec.records(slots, freed)
        took_s = await self._session.write(self._window, data, urgency, repeat_safe=False)
        self._pace.wrote(took_s, len(data))

    async def read_crcs(self, limits: Limits, urgency: Urgency) -> BlockCrcs:
        """All block CRCs at one revision. Raises ReceiverRefused (`busy`) when the memory never holds still."""
        wait_s = CRC_WAIT_S
        for attempt in range(CRC_TRIES):
            if attempt:
                await self._session.asking.clock.sleep(wait_s)
                wait_s *= 2
            values = await self._session.read(self._crcs, urgency)
            before, after = number_of(values, "revision"), number_of(values, "revision_after")
            if before is not None and before == after:
                return BlockCrcs(before, numbers_of(values, "crcs")[: limits.blocks])
        raise ReceiverRefused(
            f"{self._session.asking.name} changed its memory during each of {CRC_TRIES} readings.",
            remedy="Wait until nobody works at the board, then try again.",
            code="busy",
        )

    async def _read_run(self, run: Run, limits: Limits, urgency: Urgency) -> dict[int, Slot]:
        """One frame; asked a second time when a record is another slot's."""
        try:
            return await self._read_once(run, limits, urgency)
        except WrongAnswer:
            return await self._read_once(run, limits, urgency)

    async def _read_once(self, run: Run, limits: Limits, urgency: Urgency) -> dict[int, Slot]:
        raws = await self._session.read_records(self._records, run.first - 1, run.count, urgency)
        slots = (self.codec.decode(raw, number, limits.positions) for number, raw in enumerate(raws, run.first))
        return {slot.number: slot for slot in slots if slot is not None}


def _check_numbers(numbers: Sequence[int], limits: Limits) -> None:
    if numbers and not 1 <= numbers[0] <= numbers[-1] <= limits.slots:
        wrong = numbers[0] if numbers[0] < 1 else numbers[-1]
        raise Refused(
            f"There is no slot {wrong}.",
            remedy=f"This receiver's slots are 1 to {limits.slots}.",
            code="slot-out-of-range",
        )
