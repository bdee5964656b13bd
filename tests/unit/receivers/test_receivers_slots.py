"""Reading and writing slots, and the block CRCs."""

from __future__ import annotations

import struct

import pytest

from gateway.domain.urgency import Urgency
from gateway.errors import NoAnswer, ReceiverRefused, Refused, WrongAnswer
from gateway.modbus import ReadInputRegisters, Request, WriteRegisters
from tests.fakes.register_wire import FakeUnit, record
from tests.unit.receivers.making import make, slot


async def test_slots_that_exist_are_read_and_free_ones_left_out() -> None:
    """Slots 1 to 6 are one frame of 120 registers."""
    unit = FakeUnit()
    unit.put_slot(record(3, 48_231_907, kind=5, name=b"Berth 12"))
    receiver, wire, _ = make(unit)
    await receiver.identify()
    wire.asked.clear()
    assert await receiver.read_slots(range(1, 7)) == {3: slot(3)}
    assert wire.asked == [ReadInputRegisters(0x4000, 120)]


async def test_a_full_read_takes_frames_of_six_slots() -> None:
    """1024 slots in 171 frames, all of them of the urgency asked for."""
    receiver, wire, _ = make()
    await receiver.identify()
    wire.asked.clear()
    wire.urgencies.clear()
    await receiver.read_slots(range(1, 1025))
    assert len(wire.asked) == 171
    assert set(wire.urgencies) == {Urgency.BULK}


async def test_a_line_that_wants_short_frames_gets_whole_slots() -> None:
    """16 registers are less than a slot: one slot a frame."""
    receiver, wire, _ = make(registers=16)
    await receiver.identify()
    wire.asked.clear()
    await receiver.read_slots([5, 6])
    assert wire.asked == [ReadInputRegisters(0x4000 + 80, 20), ReadInputRegisters(0x4000 + 100, 20)]
    assert receiver.slots_per_write == 1


async def test_a_wrong_record_is_asked_for_once_more() -> None:
    """An answer to an earlier read of the same length is noticed by the slot's number."""
    unit = FakeUnit()
    unit.put_slot(record(3, 48_231_907, kind=5, name=b"Berth 12"))
    receiver, _, _ = make(unit)
    await receiver.identify()
    wrong, right = record(9, 7), bytes(unit.input[2 * 0x4000 + 80 : 2 * 0x4000 + 120])
    unit.input[2 * 0x4000 + 80 : 2 * 0x4000 + 120] = wrong
    reads: list[Request] = []

    def mend(request: Request) -> None:
        reads.append(request)
        if len(reads) == 2:
            unit.input[2 * 0x4000 + 80 : 2 * 0x4000 + 120] = right

    unit.on_read = mend
    assert await receiver.read_slots([3]) == {3: slot(3)}
    unit.on_read = lambda _: None
    unit.input[2 * 0x4000 + 80 : 2 * 0x4000 + 120] = wrong
    with pytest.raises(WrongAnswer, match="slot 3 was asked and that of slot 9 came"):
        await receiver.read_slots([3])


async def test_a_write_is_one_frame_with_the_revision_seen_first() -> None:
    """Ascending by number, the freed slot as number and zeros; sent at most once."""
    receiver, wire, _ = make()
    await receiver.identify()
    wire.asked.clear()
    await receiver.write_slots([slot(9), slot(2, 7, "")], [4], 100, urgency=Urgency.REVOCATION)
    expected = struct.pack(">I", 100) + record(2, 7, kind=5) + record(4, 0, outputs=bytes(8))
    expected += record(9, 48_231_907, kind=5, name=b"Berth 12")
    assert wire.asked == [WriteRegisters(0x0100, expected)]
    assert wire.once_only == wire.asked
    assert await receiver.read_slots([2, 4, 9]) == {2: slot(2, 7, ""), 9: slot(9)}


async def test_a_write_whose_answer_is_lost_is_not_sent_again() -> None:
    """It would be refused, because its slots changed by the first sending; the caller reads back instead."""
    receiver, wire, _ = make()
    await receiver.identify()
    wire.fail(after=True)
    with pytest.raises(NoAnswer):
        await receiver.write_slots([slot(9)], [], 100)
    assert wire.count(WriteRegisters) == 1


async def test_work_at_the_board_is_not_overwritten() -> None:
    """The receiver's reason becomes `slot-changed`, with words that say what to do."""
    unit = FakeUnit()
    unit.changed_at[9] = 101
    receiver, _, _ = make(unit)
    with pytest.raises(ReceiverRefused, match="changed at the board in the meantime") as caught:
        await receiver.write_slots([slot(9)], [], 100)
    assert caught.value.code == "slot-changed"
    assert caught.value.remedy


async def test_slots_beyond_the_memory_are_refused_before_anything_is_sent() -> None:
    """There are slots 1 to 1024."""
    receiver, wire, _ = make()
    await receiver.identify()
    wire.asked.clear()
    with pytest.raises(Refused, match="There is no slot 1025"):
        await receiver.write_slots([], [1025], 100)
    with pytest.raises(Refused, match="There is no slot 0"):
        await receiver.read_slots([0, 1])
    with pytest.raises(ValueError, match="7 slots in one write"):
        await receiver.write_slots([], range(1, 8), 100)
    assert wire.asked == []


async def test_the_receivers_sums_agree_with_ours() -> None:
    """CRC-32 (zlib) over the bytes that the unit holds."""
    unit = FakeUnit()
    unit.put_slot(record(3, 48_231_907, kind=5, name=b"Berth 12"))
    unit.put_slot(record(40, 5, flags=0x8001, name=b"\xc3", opaque=b"\1\2\3"))
    receiver, _, _ = make(unit)
    _, limits = await receiver.identify()
    held = await receiver.read_slots(range(1, 1025))
    stated = await receiver.read_block_crcs()
    assert stated.revision == 100
    assert stated.crcs == tuple(receiver.block_crc(limits, block, held) for block in range(32))


async def test_sums_are_read_in_short_frames_where_the_line_wants_them() -> None:
    """Both revisions agree, so nothing changed from the first frame to the last."""
    receiver, wire, _ = make(registers=32)
    await receiver.identify()
    wire.asked.clear()
    await receiver.read_block_crcs()
    assert [request.count for request in wire.asked if isinstance(request, ReadInputRegisters)] == [32, 32, 4]


async def test_sums_that_never_hold_still_end_as_busy() -> None:
    """Five readings with small waits between, then the receiver is called busy."""
    unit = FakeUnit()
    receiver, wire, clock = make(unit)
    await receiver.identify()
    wire.asked.clear()
    unit.set_long(0x142, 99)
    with pytest.raises(ReceiverRefused, match="during each of 5 readings") as caught:
        await clock.run(receiver.read_block_crcs())
    assert caught.value.code == "busy"
    assert len(wire.asked) == 5


async def test_sums_torn_once_are_read_again() -> None:
    """A change in the middle of the first reading costs one more."""
    unit = FakeUnit()
    receiver, _, clock = make(unit)
    await receiver.identify()
    unit.set_long(0x142, 99)
    reads: list[Request] = []

    def settle(request: Request) -> None:
        reads.append(request)
        if len(reads) == 2:
            unit.set_revision(101)

    unit.on_read = settle
    assert (await clock.run(receiver.read_block_crcs())).revision == 101
