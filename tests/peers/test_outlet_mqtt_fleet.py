"""Five hundred gateways on one Mosquitto: connected, killed, back, with every event of each."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from contextlib import AbstractAsyncContextManager
from pathlib import Path
from typing import Any

import pytest

from gateway.clock import SystemClock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import EventDraft, EventName
from gateway.outlets.choice import Choice
from gateway.outlets.house import OutletHouse
from gateway.outlets.mqtt import MqttOutlet, MqttPlan
from gateway.ports import Commit
from tests.fakes.broker import Broker, run_broker
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox
from tests.peers.conftest import RequireProgram

GATEWAYS = 500


class HurriedClock(SystemClock):
    """Five times as fast."""

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds / 5)

    def timeout(self, seconds: float | None) -> AbstractAsyncContextManager[Any]:
        return super().timeout(None if seconds is None else max(seconds / 5, 5.0))


def nothing() -> Mapping[str, Mapping[str, Any]]:
    return {}


async def gateway(number: int, broker: Broker) -> tuple[OutletHouse, MemoryStore]:
    clock, store = HurriedClock(), MemoryStore(SystemClock())
    plan = MqttPlan(
        name="broker",
        host="127.0.0.1",
        port=broker.port,
        gateway_id=f"site-{number}",
        receivers=(),
        tls=False,
        choice=Choice(frozenset({"input.changed"})),
        policy=AddressPolicy(allow_loopback=True),
    )
    outlet = MqttOutlet(plan, documents=nothing, journal=store.journal, clock=clock)
    house = OutletHouse([outlet], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
    await house.load()
    return house, store


@pytest.mark.timeout(120)
async def test_a_fleet_comes_back_whole(require_program: RequireProgram, tmp_path: Path) -> None:
    """Each site's events stand in the broker's log once the broker is back, whatever was under way when it died."""
    program = require_program("mosquitto", "mosquitto")
    async with run_broker(program, tmp_path) as broker, asyncio.TaskGroup() as group:
        fleet = [await gateway(number, broker) for number in range(GATEWAYS)]
        tasks = [group.create_task(house.run()) for house, _ in fleet]
        for event in ("before", "during"):
            for _, store in fleet:
                draft = EventDraft(EventName.INPUT_CHANGED, event, {"input": 1})
                await store.journal.commit(Commit(events=(draft,)))
            if event == "before":
                await _drained(fleet)
                await broker.kill()
        await asyncio.sleep(1)
        await broker.start()
        await _drained(fleet)
        await asyncio.sleep(0.2)
        topics = set(broker.received())
        for task in tasks:
            task.cancel()
    for number in range(GATEWAYS):
        for event in ("before", "during"):
            assert f"gatepost/site-{number}/receivers/{event}/events/input.changed" in topics


async def _drained(fleet: list[tuple[OutletHouse, MemoryStore]]) -> None:
    async with asyncio.timeout(60):
        while any(house.state("broker").lag for house, _ in fleet):
            await asyncio.sleep(0.1)
