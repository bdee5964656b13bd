"""Watching a virtual receiver through driver, line and pseudo-terminal, in real time."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path

from gateway.clock import SystemClock
from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.ports import Commit, Receiver
from gateway.watch import Watch, Watched
from tests.fakes.memory_store import MemoryStore
from tests.integration.driver_bench import bench

LIMIT_S = 20.0


@contextlib.asynccontextmanager
async def watching(receiver: Receiver, store: MemoryStore) -> AsyncIterator[Watch]:
    watch = Watch(
        [Watched(receiver, "quay")],
        journal=store.journal,
        mirrors=store.mirrors,
        plans=store.plans,
        ledger=store.ledger,
        clock=SystemClock(),
    )
    async with asyncio.TaskGroup() as tasks:
        running = tasks.create_task(watch.run())
        yield watch
        running.cancel()


async def until(condition: Callable[[], bool]) -> None:
    """Wait for what the watch will bring."""
    async with asyncio.timeout(LIMIT_S):
        while not condition():
            await asyncio.sleep(0.005)


async def test_a_warm_start_on_an_unchanged_receiver_reads_little(tmp_path: Path) -> None:
    """A paced line at 115200 and 1024 slots: read whole once; the next start proves the mirror in a few frames."""
    store = MemoryStore()
    async with bench(tmp_path, paced=True) as on:
        async with watching(on.receiver, store) as watch:
            await until(lambda: watch.keeper.is_proven("slip-gate"))
        frames = on.line.counters.frames_sent
        async with watching(on.another(lambda: ""), store) as watch:
            await until(lambda: watch.keeper.is_proven("slip-gate"))
        assert on.line.counters.frames_sent - frames < 30


async def test_presses_board_work_and_a_power_cut_are_told(tmp_path: Path) -> None:
    """What is done at the virtual receiver arrives as events, live, and the mirror follows."""
    store = MemoryStore()
    async with bench(tmp_path) as on, watching(on.receiver, store) as watch:
        await until(lambda: watch.keeper.is_proven("slip-gate"))

        def told(name: EventName) -> list[dict[str, object]]:
            return [dict(event.data) for event in store.journal.all(name)]

        on.command("input 2 violated")
        await until(lambda: bool(told(EventName.INPUT_CHANGED)))
        assert told(EventName.INPUT_CHANGED) == [{"input": 2, "name": "", "violated": True}]
        on.command("board learn 1")
        on.command("press 48231907 1")
        await until(lambda: bool(told(EventName.DRIFT_FOUND)))
        mirror = store.mirrors.load("slip-gate")
        assert mirror is not None
        assert [slot.serial for slot in mirror.slots.values()] == [48_231_907]
        assert told(EventName.SLOT_CHANGED)[0]["origin"] == "board"
        ours = [Slot(number, 1000 + number, 0, mirror.slots[1].outputs) for number in (7, 8)]
        changes = tuple(Change(ChangeKind.ADDED, slot.number, None, slot, "") for slot in ours)
        plan = Plan(
            "p1", "slip-gate", SystemClock().now(), "", mirror.revision, changes, 0, 0.0, state=PlanState.APPLYING
        )
        await store.journal.commit(Commit(plans=(plan,)))
        await on.receiver.write_slots(ours, [], mirror.revision)
        await until(lambda: len(told(EventName.SLOT_CHANGED)) == 2)
        assert told(EventName.SLOT_CHANGED)[1]["origin"] == "line"
        on.command("power off")
        await until(lambda: watch.live.receiver("slip-gate").link is LinkState.SILENT)
        on.command("power on")
        await until(lambda: bool(told(EventName.RECEIVER_RESTARTED)))
        await until(lambda: watch.live.receiver("slip-gate").link is LinkState.ONLINE)
        assert [event.name for event in store.journal.all(EventName.LINK_LOST, EventName.LINK_RESTORED)] == [
            EventName.LINK_LOST,
            EventName.LINK_RESTORED,
        ]
        assert len(told(EventName.DRIFT_FOUND)) == 1
