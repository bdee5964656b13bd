"""Who goes first on the line, and what happens when too many wait."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable

import pytest

from gateway import modbus
from gateway.domain.urgency import Urgency
from gateway.errors import Refused
from gateway.line import Line
from gateway.line.queue import Job, Queue
from tests.fakes.clock import FakeClock
from tests.fakes.running_line import running
from tests.fakes.wire import FakeCable, FakeUnit


def job(address: int = 1, urgency: Urgency = Urgency.BULK) -> Job:
    """A request for the queue alone."""
    return Job(address, urgency, asyncio.get_running_loop().create_future(), modbus.ReadCoils(0, 1), 0.02)


async def test_the_most_urgent_goes_first_and_equals_in_the_order_of_arrival() -> None:
    """Revocation, poll, control, bulk."""
    queue = Queue()
    jobs = [job(1, urgency) for urgency in (Urgency.BULK, Urgency.CONTROL, Urgency.POLL, Urgency.REVOCATION)]
    twice = [job(2, Urgency.POLL), job(3, Urgency.POLL)]
    for one in (*jobs, *twice):
        queue.push(one)
    order = [queue.pop() for _ in range(6)]
    assert order == [jobs[3], jobs[2], *twice, jobs[1], jobs[0]]


async def test_units_of_one_urgency_take_turns() -> None:
    """A unit with many requests lets the other's only one pass after at most one of its own."""
    queue = Queue()
    for _ in range(20):
        queue.push(job(1))
    queue.pop()
    single = job(2)
    queue.push(single)
    assert single in (queue.pop(), queue.pop())


async def test_overflow_puts_out_the_least_urgent_and_latest() -> None:
    """A flood of bulk can't keep a revocation out, and more of the same is refused itself."""
    queue = Queue(bound=3)
    first, second, third = job(1), job(1), job(1, Urgency.POLL)
    for one in (first, second, third):
        assert queue.push(one) is None
    assert queue.push(job(1, Urgency.REVOCATION)) is second
    late = job(1)
    assert queue.push(late) is late


async def test_what_nobody_waits_for_any_more_is_skipped() -> None:
    """A cancelled request leaves the queue without going to the line."""
    queue = Queue()
    gone, there = job(), job()
    queue.push(gone)
    queue.push(there)
    gone.done.cancel()
    assert queue.pop() is there
    assert queue.pop() is None


def read(line: Line, start: int, urgency: Urgency, address: int = 1, count: int = 32) -> Awaitable[modbus.Answer]:
    """A read that tells by its start who asked."""
    request = modbus.ReadHoldingRegisters(start, count)
    return line.transact(address, request, urgency=urgency, answer_time_s=0.02)


async def test_a_poll_overtakes_a_bulk_transfer_at_the_next_frame() -> None:
    """It waits for the frame on the wire and the silence, no more."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line, asyncio.TaskGroup() as group:
        for start in range(0, 320, 32):
            group.create_task(_wait(read(line, start, Urgency.BULK)))
        await cable.clock.advance(0.05)
        asked = cable.clock.monotonic()
        group.create_task(_wait(read(line, 900, Urgency.POLL)))
        group.create_task(_wait(read(line, 901, Urgency.REVOCATION)))
        await cable.clock.advance(2)
        starts = [int.from_bytes(frame[2:4], "big") for _, frame in cable.sent]
        place = starts.index(901)
        assert starts[place + 1] == 900
        frame_s = (8 + 5 + 64) * 10 / 19200 + 0.001
        assert cable.sent[place][0] - asked <= frame_s + 2 * 3.5 * 10 / 19200


async def _wait(answer: Awaitable[modbus.Answer]) -> None:
    await answer


async def test_frames_are_sized_to_what_a_poll_may_wait() -> None:
    """Full size when nobody polls; at 19200 baud about a third of it while somebody does."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        assert line.registers_per_frame() == 125
        await cable.clock.run(read(line, 0, Urgency.POLL, count=1))
        while_polled = line.registers_per_frame()
        frame_s = (8 + 5 + 2 * while_polled) * 10 / 19200 + 2 * 3.5 * 10 / 19200 + 0.001
        assert 0.045 < frame_s <= 0.050
        assert line.registers_per_frame(overhead_bytes=4) == while_polled - 2
        await cable.clock.advance(2)
        assert line.registers_per_frame() == 125
        assert line.registers_per_frame(overhead_bytes=4) == 123


async def test_a_hold_keeps_everybody_else_out() -> None:
    """Three requests of a hold follow each other although more urgent ones wait."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line, asyncio.TaskGroup() as group:

        async def holder() -> None:
            async with line.hold(Urgency.CONTROL) as held:
                for start in (500, 501, 502):
                    await held.transact(1, modbus.ReadHoldingRegisters(start, 1), answer_time_s=0.02)

        group.create_task(holder())
        await cable.clock.settle()
        group.create_task(_wait(read(line, 1, Urgency.POLL)))
        group.create_task(_wait(read(line, 2, Urgency.REVOCATION)))
        await cable.clock.advance(1)
    starts = [int.from_bytes(frame[2:4], "big") for _, frame in cable.sent]
    assert starts == [500, 501, 502, 2, 1]


async def test_a_forgotten_hold_ends_by_itself() -> None:
    """After two seconds without a request the others go on, and the holder is told."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line, asyncio.TaskGroup() as group:

        async def sleeper() -> None:
            async with line.hold(Urgency.CONTROL) as held:
                await cable.clock.sleep(60)
                with pytest.raises(Refused) as fault:
                    await held.transact(1, modbus.ReadCoils(0, 1), answer_time_s=0.02)
                assert fault.value.code == "hold-ended"

        group.create_task(sleeper())
        await cable.clock.settle()
        polled = group.create_task(_wait(read(line, 1, Urgency.POLL)))
        await cable.clock.advance(2.1)
        assert polled.done()
        await cable.clock.advance(60)


@pytest.mark.parametrize("after_s", [0.0, 0.001, 0.003, 0.008])
async def test_cancelling_is_safe_at_any_moment(after_s: float) -> None:
    """Waiting, in the silence, sending or receiving: the next request gets its own answer."""
    cable = FakeCable(FakeClock(), units={1: FakeUnit(), 2: FakeUnit()})
    async with running(cable) as line:
        first = asyncio.ensure_future(read(line, 100, Urgency.POLL, count=8))
        await cable.clock.settle()
        await cable.clock.advance(after_s)
        first.cancel()
        answer = await cable.clock.run(read(line, 200, Urgency.POLL, count=8))
        assert isinstance(answer, modbus.RegistersAnswer)
        assert answer.registers == tuple(range(200, 208))
        assert first.cancelled()
        assert cable.short_gaps == []


async def test_a_cancelled_hold_lets_the_others_go_on() -> None:
    """Cancelled while it waits for its turn, and while it has the line."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:

        async def holder() -> None:
            async with line.hold(Urgency.CONTROL):
                await cable.clock.sleep(60)

        for wait_s in (0.0, 0.5):
            held = asyncio.ensure_future(holder())
            await asyncio.sleep(0)
            await cable.clock.advance(wait_s) if wait_s else None
            held.cancel()
            begun = cable.clock.monotonic()
            await cable.clock.run(read(line, 1, Urgency.BULK, count=1))
            assert cable.clock.monotonic() - begun < 0.1


async def test_too_many_requests_are_refused_with_a_sentence() -> None:
    """The 257th bulk request that waits is put out."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        tasks = [asyncio.ensure_future(read(line, 0, Urgency.BULK, count=1))]
        await cable.clock.settle()  # the first is on the wire now
        tasks += [asyncio.ensure_future(read(line, n, Urgency.BULK, count=1)) for n in range(257)]
        await cable.clock.advance(30)
        ended = await asyncio.gather(*tasks, return_exceptions=True)
    refused = [fault for fault in ended if isinstance(fault, Refused)]
    assert [fault.code for fault in refused] == ["line-full"]
    assert line.counters.overflows == 1
