"""The fake receiver keeps the promises of `gateway.ports.Receiver`."""

from __future__ import annotations

import pytest

from gateway.domain.receiver import BoardEvent, Origin, RingPlace
from gateway.errors import NoAnswer, ReceiverRefused
from gateway.ports import Receiver
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver, some_limits, some_slot


async def test_a_write_is_refused_when_the_slot_changed_since_it_was_seen() -> None:
    """Board work between reading and writing is never overwritten."""
    fake = FakeReceiver()
    typed: Receiver = fake
    await typed.write_slots([some_slot(1, 48231907)], [], seen=fake.board.revision)
    seen = fake.board.revision
    fake.board.learn(48231907, 2, 2)
    with pytest.raises(ReceiverRefused) as refused:
        await typed.write_slots([some_slot(1, 48231907, [(3, 1)])], [], seen)
    assert refused.value.code == "slot-changed"
    assert fake.board.slots[1].pairs == {(1, 1), (2, 2)}


async def test_a_fault_comes_before_or_after_the_effect() -> None:
    """An error tells nothing about whether the write took effect; part of a frame may be done."""
    fake = FakeReceiver()
    fake.fail(method="write_slots")
    fake.fail(method="write_slots", after=True)
    fake.fail(method="write_slots", slots_done=1)
    for number in (1, 2):
        with pytest.raises(NoAnswer):
            await fake.write_slots([some_slot(number, number)], [], seen=fake.board.revision)
    with pytest.raises(NoAnswer):
        await fake.write_slots([some_slot(3, 3), some_slot(4, 4)], [], seen=fake.board.revision)
    assert set(fake.board.slots) == {2, 3}
    assert fake.slot_writes == 2


async def test_the_ring_tells_in_order_what_it_still_holds() -> None:
    """Entries after a place come once each, with the number of those that the ring has turned over."""
    clock = FakeClock()
    fake = FakeReceiver(clock=clock, limits=some_limits(ring=10))
    place = RingPlace(1, fake.board.newest)
    for serial in range(1, 16):
        fake.board.press(serial)
    read = await fake.read_ring(place, await fake.read_status())
    assert read.lost == 5
    assert [entry.serial for entry in read.entries] == list(range(6, 16))
    fake.board.restart()
    read = await fake.read_ring(read.entries[-1].place, await fake.read_status())
    assert read.restarted
    assert [entry.kind for entry in read.entries] == [BoardEvent.START]


async def test_a_timed_output_opens_at_its_own_moment() -> None:
    """The ring's uptime is that of the opening, not of the look that found it."""
    clock = FakeClock()
    fake = FakeReceiver(clock=clock)
    fake.board.put(1, some_slot(1, 7), Origin.LINE)
    fake.board.press(7)
    assert (await fake.read_status()).output_closed == (True, False)
    await clock.advance(60)
    assert (await fake.read_status()).output_closed == (False, False)
    assert fake.board.ring[-1].uptime_s == pytest.approx(5.0)


async def test_block_sums_differ_where_slots_differ() -> None:
    """Only the block with the change has another CRC-32, and an empty block's is that of zeros."""
    fake = FakeReceiver()
    before = await fake.read_block_crcs()
    fake.board.learn(7, 1, 1)
    after = await fake.read_block_crcs()
    assert [a == b for a, b in zip(before.crcs, after.crcs, strict=True)] == [False, True, True, True]
    assert after.revision > before.revision
