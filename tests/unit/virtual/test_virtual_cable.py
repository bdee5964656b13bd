"""The virtual receiver behind a real line's master, in virtual time."""

from __future__ import annotations

import asyncio
import struct

from gateway.domain.urgency import Urgency
from gateway.line import Line, LineConfig
from gateway.modbus import ReadInputRegisters, RegistersAnswer
from tests.fakes.clock import FakeClock
from tests.fakes.virtual_wire import VirtualCable, some_unit


async def test_a_line_reads_through_the_cable_and_loses_it() -> None:
    """A read takes its wire time and no longer; a pulled adapter is noticed and found again."""
    clock = FakeClock()
    cable = VirtualCable(clock, {1: some_unit(clock)})
    line = Line(LineConfig("quay", "/dev/virtual", 115200), clock, opener=cable.open)
    async with asyncio.TaskGroup() as tasks:
        owner = tasks.create_task(line.run())
        await clock.run(line.wait_open())
        began = clock.monotonic()
        answer = await clock.run(line.transact(1, ReadInputRegisters(0, 20), urgency=Urgency.POLL, answer_time_s=0.02))
        assert isinstance(answer, RegistersAnswer)
        assert struct.unpack(">HI", answer.data[:6]) == (1, 1)
        ideal_s = (8 + 45) * 10 / 115200 + 2 * 0.00175 + 0.001
        assert clock.monotonic() - began <= ideal_s + 1e-6
        cable.unplug()
        await clock.advance(1)
        cable.plug()
        await clock.run(line.wait_open())
        assert await clock.run(line.transact(1, ReadInputRegisters(0, 20), urgency=Urgency.POLL, answer_time_s=0.02))
        assert cable.station.counters.short_gaps == 0
        owner.cancel()
    cable.close()
