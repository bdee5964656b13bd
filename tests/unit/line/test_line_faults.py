"""The port's fate: cut, pulled, missing, half-open; in virtual time."""

from __future__ import annotations

import asyncio
import itertools

import pytest

from gateway import modbus
from gateway.domain.urgency import Urgency
from gateway.errors import BrokenAnswer, LineError, LinkLost, NoAnswer, PortUnavailable
from gateway.line import Line, LineState
from tests.fakes.clock import FakeClock
from tests.fakes.running_line import running
from tests.fakes.wire import FakeCable, FakeUnit, prompt

READ = modbus.ReadHoldingRegisters(100, 8)
OTHER = modbus.ReadHoldingRegisters(300, 8)
ANSWER_LENGTH = 21


async def ask(line: Line, request: modbus.Request = READ, **options: object) -> modbus.Answer:
    """One transaction."""
    options = {"urgency": Urgency.POLL, "answer_time_s": 0.02, **options}
    return await line.transact(1, request, **options)  # type: ignore[arg-type]  # by name


@pytest.mark.parametrize("k", range(ANSWER_LENGTH))
async def test_an_answer_cut_after_any_byte(k: int) -> None:
    """Cut once after byte k: a typed error, or the right values when tried again; the next read is right."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        cable.behave = lambda answer: [(0.001, answer[:k])]
        with pytest.raises((NoAnswer, BrokenAnswer)):
            await cable.clock.run(ask(line, tries=1))
        cable.behave = prompt
        answer = await cable.clock.run(ask(line, OTHER))
        assert answer == modbus.RegistersAnswer(3, b"".join(n.to_bytes(2, "big") for n in range(300, 308)))
        assert cable.short_gaps == []


@pytest.mark.parametrize("k", range(ANSWER_LENGTH + 1))
async def test_the_adapter_pulled_after_any_byte(k: int) -> None:
    """The pending request fails at once with LinkLost, later ones with PortUnavailable, and the line comes back."""
    cable = FakeCable(FakeClock())
    pulled_s = 0.0011 + k * 10 / 19200
    cable.behave = lambda answer: [(0.001, answer[:k]), (pulled_s, None)]
    async with running(cable) as line:
        begun = cable.clock.monotonic() + 3.5 * 10 / 19200 + 8 * 10 / 19200 + pulled_s
        if k < ANSWER_LENGTH:
            with pytest.raises(LinkLost) as fault:
                await cable.clock.run(ask(line))
            assert fault.value.sent
            assert cable.clock.monotonic() - begun < 0.020
        else:
            await cable.clock.run(ask(line))
            await cable.clock.advance(0.001)
        assert line.state.kind in ("lost", "missing")
        with pytest.raises(PortUnavailable) as unavailable:
            await ask(line)
        assert not unavailable.value.sent
        await cable.clock.advance(600)
        cable.plug()
        cable.behave = prompt
        plugged = cable.clock.monotonic()
        await cable.clock.run(line.wait_open())
        assert cable.clock.monotonic() - plugged <= 5.0
        await cable.clock.run(ask(line))


async def test_everybody_who_waits_hears_of_the_loss() -> None:
    """Queue and hold are emptied with LinkLost; those whose request never left are told so."""
    cable = FakeCable(FakeClock())
    cable.behave = lambda _: [(0.005, None)]
    faults: list[LineError] = []

    async def one(line: Line) -> None:
        try:
            await ask(line)
        except LineError as fault:
            faults.append(fault)

    async def holder(line: Line) -> None:
        try:
            async with line.hold(Urgency.CONTROL) as held:
                await held.transact(1, READ, answer_time_s=0.02)
        except LineError as fault:
            faults.append(fault)

    async with running(cable) as line, asyncio.TaskGroup() as group:
        for _ in range(3):
            group.create_task(one(line))
        group.create_task(holder(line))
        await cable.clock.settle()
        await cable.clock.advance(0.1)
    assert [type(fault) for fault in faults] == [LinkLost] * 4
    assert sorted(fault.sent for fault in faults) == [False, False, False, True]


async def test_a_hold_ends_when_the_port_is_lost() -> None:
    """The request in the hold fails at once, and so does the next one in it."""
    cable = FakeCable(FakeClock())
    cable.behave = lambda _: [(0.005, None)]
    async with running(cable) as line:

        async def holder() -> list[type[BaseException]]:
            kinds: list[type[BaseException]] = []
            async with line.hold(Urgency.CONTROL) as held:
                for _ in range(2):
                    try:
                        await held.transact(1, READ, answer_time_s=0.02)
                    except LineError as fault:
                        kinds.append(type(fault))
            return kinds

        assert await cable.clock.run(holder()) == [LinkLost, LinkLost]


async def test_opening_is_tried_with_growing_waits() -> None:
    """0.25 s doubled up to 5 s; one state for the whole outage, whatever the number of tries."""
    cable = FakeCable(FakeClock())
    tried: list[float] = []
    fault = PortUnavailable("Held by a log reader (process 77).", remedy="Stop it.", code="port-busy")

    async def open_port(config: object, listener: object) -> object:
        tried.append(cable.clock.monotonic() - 1000)
        raise PortUnavailable(fault.message, remedy=fault.remedy, code=fault.code)

    cable.open = open_port  # type: ignore[method-assign, assignment]
    states: list[LineState] = []

    async def watch(line: Line) -> None:
        state = line.state
        while True:
            state = await line.wait_state_change(state)
            states.append(state)

    async with running(cable) as line:
        watcher = asyncio.ensure_future(watch(line))
        await cable.clock.advance(86_400)
        assert (line.state.kind, line.state.reason, line.state.remedy) == ("busy", fault.message, "Stop it.")
        with pytest.raises(PortUnavailable) as refused:
            await ask(line)
        assert refused.value.code == "port-busy"
        watcher.cancel()
        await asyncio.gather(watcher, return_exceptions=True)
    assert [round(b - a, 3) for a, b in itertools.pairwise(tried)][:6] == [0.25, 0.5, 1, 2, 4, 5]
    assert len(tried) < 86_400 / 5 + 10
    assert len(states) <= 1


async def test_a_half_open_port_is_opened_anew() -> None:
    """Writes go, nothing ever comes: after three time-outs the port is reopened, but not all the time."""
    cable = FakeCable(FakeClock(), units={})
    async with running(cable) as line:
        await cable.clock.advance(60)
        with pytest.raises(NoAnswer):
            await cable.clock.run(ask(line))
        await cable.clock.advance(1)
        assert cable.opened == 2
        assert line.state.kind == "open"
        for _ in range(10):
            with pytest.raises(NoAnswer):
                await cable.clock.run(ask(line))
        assert cable.opened == 2, "a receiver without power must not make the port flap"
        cable.units[1] = FakeUnit()
        await cable.clock.run(ask(line))


async def test_the_line_can_be_stopped_in_the_middle_of_a_request() -> None:
    """Whoever waits is told that the line is not running."""
    cable = FakeCable(FakeClock())
    cable.behave = lambda _: []
    async with running(cable) as line:
        waiting = [asyncio.ensure_future(ask(line)) for _ in range(2)]
        await cable.clock.advance(0.005)
    ended = await asyncio.gather(*waiting, return_exceptions=True)
    assert all(isinstance(fault, PortUnavailable) for fault in ended)
    assert line.state.kind == "closed"


async def test_the_counters_tell_what_happened() -> None:
    """Frames, bytes and the time that the wire was taken."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        await cable.clock.run(ask(line))
        counters = line.counters
    assert (counters.frames_sent, counters.answers, counters.opened) == (1, 1, 1)
    assert (counters.bytes_sent, counters.bytes_received) == (8, 21)
    assert counters.busy_s == pytest.approx(29 * 10 / 19200 + 0.001 + 3.5 * 10 / 19200, abs=1e-4)
