"""Operating through everything real but the terminal: desk, driver, line and virtual receiver, in virtual time.

Faults are ordered in the last moment before the request leaves: in the hold of the line, after everything was judged.
How often the output closed is read from the receiver's own ring.
"""

from __future__ import annotations

import asyncio
import os
import random
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace

import pytest

from gateway.domain.events import EventName
from gateway.domain.mirror import Mirror
from gateway.domain.operation import Operable, OperationState
from gateway.domain.receiver import BoardEvent, Origin, RingPlace
from gateway.errors import GatepostError, NoAnswer
from gateway.line import Line, LineConfig
from gateway.maps import load_map
from gateway.ports import OperationOrder, Receiver
from gateway.receivers import build_receiver
from gateway.virtual.requests import ReceiverUnit
from gateway.watch.operating import OperatingDesk
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.use_cases import FakeLive, MemoryAudit, online
from tests.fakes.virtual_wire import VirtualCable, some_unit

CUTS = int(os.environ.get("GATEPOST_CUTS", "60"))
GATE = Operable("slip-gate", 1, "gate", True)


@dataclass
class Quay:
    """A receiver on its line, and the desk."""

    clock: FakeClock
    cable: VirtualCable
    unit: ReceiverUnit
    line: Line
    driver: Receiver
    store: MemoryStore
    desk: OperatingDesk

    def order(self, at_last: Callable[[], None]) -> OperationOrder:
        """One closure; `at_last` is called when everything else has been judged, right before it is sent."""
        asked: list[None] = []

        def still_may() -> bool:
            asked.append(None)
            if len(asked) == 3:  # when it is asked for, when its turn begins, in the hold
                at_last()
            return True

        return OperationOrder("slip-gate", 1, "a delivery", "token:1", self.clock.monotonic(), still_may=still_may)

    async def closures(self) -> int:
        """How often output 1 closed on a request of the line, as the receiver's ring tells."""
        status = await self.clock.run(self.driver.read_status())
        assert status.boot_count is not None
        read = await self.clock.run(self.driver.read_ring(RingPlace(status.boot_count, 0), status))
        return sum(
            entry.kind is BoardEvent.OUTPUT and entry.origin is Origin.LINE and (entry.number, entry.value) == (1, 1)
            for entry in read.entries
        )


@asynccontextmanager
async def quay() -> AsyncIterator[Quay]:
    clock = FakeClock()
    unit = some_unit(clock)
    cable = VirtualCable(clock, {1: unit})
    line = Line(LineConfig("quay", "/dev/virtual", 115200), clock, opener=cable.open)
    owner = asyncio.ensure_future(line.run())
    await clock.run(line.wait_open())
    driver = build_receiver("slip-gate", load_map("reference"), line, 1, str, clock=clock)
    identity, limits = await clock.run(driver.identify())
    status = await clock.run(driver.read_status())
    store = MemoryStore(clock)
    store.mirrors.kept["slip-gate"] = Mirror("slip-gate", identity, limits, status.revision or 0, {})
    desk = OperatingDesk(
        (GATE,),
        receivers={"slip-gate": driver},
        poll_rates_hz={"slip-gate": 5.0},
        live=FakeLive(online("slip-gate", identity=identity, limits=limits, status=status)),
        mirrors=store.mirrors,
        journal=store.journal,
        documents=store.documents,
        audit=MemoryAudit(),
        clock=clock,
        boot_id="boot-1",
        planning=lambda _: False,
    )
    try:
        yield Quay(clock, cable, unit, line, driver, store, desk)
    finally:
        owner.cancel()
        await asyncio.gather(owner, return_exceptions=True)
        cable.close()


async def test_it_closes_once_and_ends_by_itself() -> None:
    """For the output's own 5 s, timed by the receiver."""
    async with quay() as found:
        done = await found.clock.run(found.desk.operate(found.order(lambda: None)))
        assert (done.state, done.seconds) == (OperationState.DONE, 5.0)
        assert (await found.clock.run(found.driver.read_status())).output_closed[0]
        await found.clock.advance(5.1)
        assert not (await found.clock.run(found.driver.read_status())).output_closed[0]
        assert await found.closures() == 1


def _drop(found: Quay) -> None:
    found.unit.faults.drop_next = 1


def _late(found: Quay) -> None:
    found.unit.faults.late_s, found.unit.faults.late_next = 0.7, 1


def _cut(found: Quay) -> None:
    found.unit.faults.cut_at, found.unit.faults.cut_next = 3, 1


@pytest.mark.parametrize("fault", [_drop, _late, _cut])
async def test_an_answer_that_is_lost_late_or_broken_moves_it_once(fault: Callable[[Quay], None]) -> None:
    """The receiver has done it; nobody knows here, says so, and sends nothing more."""
    async with quay() as found:
        with pytest.raises(NoAnswer) as caught:
            await found.clock.run(found.desk.operate(found.order(lambda: fault(found))))
        assert caught.value.code == "operation-unknown"
        await found.clock.advance(60)
        assert await found.closures() == 1
        (event,) = found.store.journal.all(EventName.OUTPUT_OPERATED)
        assert event.data["outcome"] == "unknown"


def _stutter(found: Quay) -> None:
    found.unit.faults.drop_every = 2


def _refuse(found: Quay) -> None:
    found.unit.faults.exception_code, found.unit.faults.exception_next = 6, 2


def _noise(found: Quay) -> None:
    found.cable.station.faults.noise = 0.05


def _unplug(found: Quay) -> None:
    found.cable.unplug()


_FAULTS = (_drop, _late, _cut, _stutter, _refuse, _noise, _unplug)


#: When the one request is on the wire, counted from the order's beginning: what is struck most.
_SENDING_S = (0.045, 0.055)


async def _strike(found: Quay, fault: Callable[[Quay], None], after_s: float) -> None:
    await found.clock.sleep(after_s)
    fault(found)


async def _outcome(found: Quay, order: OperationOrder) -> str:
    try:
        return (await found.clock.run(found.desk.operate(order))).state.value
    except GatepostError as error:
        return error.code


@pytest.mark.timeout(60 + CUTS)
async def test_requests_cut_at_any_moment_close_it_once_at_most() -> None:
    """Random faults at random moments of a request, which is then sent again with its key: never a second closure.

    What was told is true: `done` moved it, a refusal did not and leaves the key free, `operation-unknown` leaves both
    open. GATEPOST_CUTS is how many requests, 60 unless told otherwise; the goal is 1,000.
    """
    told: Counter[str] = Counter()
    for seed in range(CUTS):
        chance = random.Random(seed)
        async with quay() as found:
            fault = chance.choice(_FAULTS)
            after_s = chance.choice([chance.uniform(0.0, 0.06), chance.uniform(*_SENDING_S)])
            found.unit.faults.cut_at, found.unit.faults.late_s = chance.randint(1, 7), chance.uniform(0.05, 1.5)
            order = replace(found.order(lambda: None), key="a-key")
            striking = asyncio.ensure_future(_strike(found, fault, after_s))
            first = await _outcome(found, order)
            await found.clock.run(striking)
            found.cable.plug()
            found.unit.faults.drop_every, found.cable.station.faults.noise = 0, 0.0
            await found.clock.run(found.line.wait_open())
            await found.clock.advance(5)
            again = [await _outcome(found, replace(order, asked_s=found.clock.monotonic())) for _ in range(3)]
            await found.clock.advance(60)
            closures = await found.closures()
            told[first] += 1
            about = f"seed {seed}, {fault.__name__} after {after_s:.4f} s: {first}, then {again}: {closures} closures"
            sent = [outcome for outcome in (first, *again) if outcome in ("done", "operation-unknown")]
            assert len(sent) <= 1, about
            assert again[-1] == "operation-repeated", about
            assert closures in {"done": {1}, "operation-unknown": {0, 1}}.get("".join(sent), {0}), about
    assert {"done", "operation-unknown", "receiver-not-reached"} <= set(told), told


async def test_an_adapter_pulled_at_the_last_moment_moves_nothing() -> None:
    """Neither then nor when it is back; what is told is never that it worked."""
    async with quay() as found:
        with pytest.raises(GatepostError) as caught:
            await found.clock.run(found.desk.operate(found.order(found.cable.unplug)))
        assert caught.value.code in ("operation-unknown", "receiver-not-reached")
        found.cable.plug()
        await found.clock.run(found.line.wait_open())
        await found.clock.advance(60)
        assert await found.closures() == 0
        (kept,) = found.desk.recent("slip-gate", 1)
        assert kept.state in (OperationState.UNKNOWN, OperationState.REFUSED)


async def test_a_receiver_that_is_busy_is_not_asked_again() -> None:
    """An exception 06 is its answer."""
    async with quay() as found:

        def busy() -> None:
            found.unit.faults.exception_code, found.unit.faults.exception_next = 6, 1

        with pytest.raises(GatepostError) as caught:
            await found.clock.run(found.desk.operate(found.order(busy)))
        assert caught.value.code in ("receiver-exception", "busy")
        await found.clock.advance(60)
        assert await found.closures() == 0
        (kept,) = found.desk.recent("slip-gate", 1)
        assert kept.state is OperationState.REFUSED
