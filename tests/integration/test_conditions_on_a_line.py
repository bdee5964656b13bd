"""Conditions from a virtual receiver, through driver, line and pseudo-terminal, in real time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from pathlib import Path

from gateway.clock import SystemClock
from gateway.domain.condition import ConditionLimits
from gateway.domain.events import EventName
from gateway.domain.gate import Contact, Gate, GatePosition, InputRole
from gateway.system.boot import read_boot_id
from gateway.watch import Watch, Watched
from gateway.watch.conditions import ConditionWatch, Premises
from tests.fakes.gates import FakeLineCounts
from tests.fakes.memory_store import MemoryStore
from tests.fakes.use_cases import FakeTrust
from tests.integration.driver_bench import Bench, bench
from tests.integration.test_watch_on_a_line import until

CONTACT = Contact("slip-gate", 1, InputRole.CLOSED, "gate closed", "slip-gate")
COMMAND_WINDOW_S = 2.0  # for so long a press explains that a gate opens
GATE = Gate("slip-gate", "Slip gate", "slip-gate", outputs=(1,), contacts=(CONTACT,), travel_s=1.0)


@contextlib.asynccontextmanager
async def deriving(on: Bench, store: MemoryStore) -> AsyncIterator[tuple[Watch, ConditionWatch]]:
    """Watching, and the conditions of its gate; the first poll is behind it."""
    clock = SystemClock()
    watch = Watch(
        [Watched(on.receiver, "quay")],
        journal=store.journal,
        mirrors=store.mirrors,
        plans=store.plans,
        ledger=store.ledger,
        clock=clock,
    )
    conditions = ConditionWatch(
        Premises((GATE,), (CONTACT,), ConditionLimits(travel_margin_s=0.5, command_window_s=COMMAND_WINDOW_S)),
        journal=store.journal,
        documents=store.documents,
        live=watch.live,
        clock=clock,
        trust=FakeTrust(),
        boot_id=read_boot_id(),
        lines=FakeLineCounts(),
    )
    async with asyncio.TaskGroup() as tasks:
        running = [tasks.create_task(watch.run()), tasks.create_task(conditions.run())]
        await until(lambda: watch.keeper.is_proven("slip-gate"))
        await until(lambda: conditions.gates.gate("slip-gate").position is GatePosition.SHUT)
        yield watch, conditions
        for task in running:
            task.cancel()


def _open(conditions: ConditionWatch) -> list[str]:
    return sorted(each.kind.value for each in conditions.open())


async def test_a_gate_that_does_not_answer_and_one_that_nobody_asked(tmp_path: Path) -> None:
    """A press works the output and no contact moves; later it moves with no press before."""
    store = MemoryStore(SystemClock())
    async with bench(tmp_path, slots=32) as on:
        on.command("board learn 1")
        on.command("press 48231907 1")
        async with deriving(on, store) as (_, conditions):
            await asyncio.sleep(0.4)
            assert on.command("press 48231907 1") != "repeated"
            pressed = asyncio.get_running_loop().time()
            await until(lambda: _open(conditions) == ["did-not-open"])
            waited_s = asyncio.get_running_loop().time() - pressed
            assert waited_s > 1.2, "not before its travel time and the margin are over"
            on.command("input 1 violated")
            await until(lambda: _open(conditions) == [])
            assert conditions.gates.gate("slip-gate").position is GatePosition.MOVING
            on.command("input 1 normal")
            await until(lambda: conditions.gates.gate("slip-gate").position is GatePosition.SHUT)
            await until(lambda: asyncio.get_running_loop().time() > pressed + COMMAND_WINDOW_S + 1.5)
            on.command("input 1 violated")
            await until(lambda: _open(conditions) == ["opened-without-command"])


async def test_a_chattering_contact_is_one_condition_and_few_rows(tmp_path: Path) -> None:
    """Three seconds at some 50 changes a second, read through the ring of a receiver at 115200 baud."""
    store = MemoryStore(SystemClock())
    async with bench(tmp_path, slots=32) as on, deriving(on, store) as (watch, conditions):
        before = len(store.journal.all(EventName.INPUT_CHANGED))
        for number in range(150):
            on.command(f"input 2 {'violated' if number % 2 == 0 else 'normal'}")
            await asyncio.sleep(0.02)
        await until(lambda: _open(conditions) == ["chatter"])
        rows = store.journal.all(EventName.INPUT_CHANGED)[before:]
        assert len(rows) <= 5
        assert sum(int(row.data.get("changes", 1)) for row in rows) == 150
        assert rows[-1].data["violated"] is False
        assert watch.live.receiver("slip-gate").status is not None
        assert len(store.journal.all(EventName.CONDITION_RAISED)) == 1


async def test_a_low_battery_comes_with_the_press(tmp_path: Path) -> None:
    """The receiver keeps it beside the slot; the event carries it, and a press with a new battery ends it."""
    store = MemoryStore(SystemClock())
    async with bench(tmp_path, slots=32) as on:
        on.command("board learn 1")
        on.command("press 48231907 1")
        async with deriving(on, store) as (_, conditions):
            await asyncio.sleep(0.4)  # a press is the first telegram after 300 ms of silence
            on.command("battery 48231907 low")
            on.command("press 48231907 1")
            await until(lambda: "battery-low" in _open(conditions))
            on.command("battery 48231907 good")
            await asyncio.sleep(0.4)
            on.command("press 48231907 1")
            await until(lambda: "battery-low" not in _open(conditions))
            heard = [event.data["battery"] for event in store.journal.all(EventName.TRANSMITTER_HEARD)]
            assert heard[-2:] == ["low", "good"]
