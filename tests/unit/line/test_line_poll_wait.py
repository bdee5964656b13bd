"""How long a status poll waits behind a bulk transfer, in virtual time.

The goal: 95 of 100 polls wait for one bulk frame and 2 ms at most, and none waits for 60 ms, on a clean line with
a unit that needs 1 ms to read and 10 ms to write.
"""

from __future__ import annotations

import asyncio
import random

import pytest

from gateway import modbus
from gateway.domain.urgency import Urgency
from gateway.line import Line
from tests.fakes.clock import FakeClock
from tests.fakes.running_line import running
from tests.fakes.wire import FakeCable

STATUS = modbus.ReadInputRegisters(0, 20)


async def bulk(line: Line, *, writing: bool) -> None:
    """Move registers without end, each frame as large as the line says."""
    while True:
        if writing:
            count = line.registers_per_frame(overhead_bytes=4)
            request: modbus.Request = modbus.WriteRegisters(100, bytes(2 * count))
        else:
            request = modbus.ReadHoldingRegisters(100, line.registers_per_frame())
        await line.transact(1, request, urgency=Urgency.BULK, answer_time_s=0.2)


@pytest.mark.parametrize("baud", [9600, 19200, 115200])
@pytest.mark.parametrize("writing", [False, True])
async def test_a_poll_never_waits_for_sixty_milliseconds(baud: int, writing: bool) -> None:
    """Five polls a second for a minute, at moments that have nothing to do with the frames."""
    dice = random.Random(baud)
    cable = FakeCable(FakeClock())
    cable.behave = lambda answer: [(0.010 if answer[1] == 16 else 0.001, answer)]
    waits: list[float] = []
    async with running(cable, baud=baud) as line:
        await cable.clock.run(line.transact(1, STATUS, urgency=Urgency.POLL, answer_time_s=0.02))
        transfer = asyncio.ensure_future(bulk(line, writing=writing))

        async def poll() -> None:
            for _ in range(300):
                await cable.clock.sleep(dice.uniform(0.15, 0.25))
                asked = cable.clock.monotonic()
                await line.transact(1, STATUS, urgency=Urgency.POLL, answer_time_s=0.02)
                sent = next(at for at, frame in reversed(cable.sent) if frame[1] == 4)
                waits.append(sent - asked)

        await cable.clock.run(poll())
        transfer.cancel()
        await asyncio.gather(transfer, return_exceptions=True)
        silence_s = line.timing.silence_s
        frames = [(at, frame) for at, frame in cable.sent if frame[1] in (3, 16)]
        longest_s = max(_transaction_s(frame, baud, silence_s) for _, frame in frames[1:])
        assert line.counters.retries == 0
    waits.sort()
    assert waits[int(0.95 * len(waits))] <= longest_s + 0.002
    assert waits[-1] < 0.060
    assert len(frames) > 300, "the bulk transfer must have gone on meanwhile"
    assert cable.short_gaps == []


def _transaction_s(frame: bytes, baud: int, silence_s: float) -> float:
    """From the frame's first byte to the end of the silence behind its answer."""
    answer = 8 if frame[1] == 16 else 5 + 2 * int.from_bytes(frame[4:6], "big")
    return (len(frame) + answer) * 10 / baud + (0.010 if frame[1] == 16 else 0.001) + silence_s


async def test_a_bulk_transfer_that_nobody_polls_behind_uses_full_frames() -> None:
    """The price of short frames is paid only while somebody waits."""
    cable = FakeCable(FakeClock())
    async with running(cable, baud=9600) as line:
        transfer = asyncio.ensure_future(bulk(line, writing=False))
        await cable.clock.advance(3)
        transfer.cancel()
        await asyncio.gather(transfer, return_exceptions=True)
    assert {int.from_bytes(frame[4:6], "big") for _, frame in cable.sent} == {125}
