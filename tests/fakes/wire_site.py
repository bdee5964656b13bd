"""A whole site in virtual time with everything real but the terminal: sync, driver, line, wire, virtual receiver.

`WireSite` holds what outlives the program (receiver, cable, store, roster); `Life` is one run of the program over it
and can be killed: from then on nothing of it becomes durable. Every request on the wire has a number, and a fault can
be ordered at it, before the receiver has heard it or after it has done what was asked.
"""

from __future__ import annotations

import asyncio
from collections import defaultdict
from collections.abc import Coroutine, Iterable
from contextlib import suppress
from datetime import UTC, datetime
from enum import StrEnum
from types import SimpleNamespace
from typing import Any, cast

from gateway.domain.events import Event
from gateway.domain.plan import Plan
from gateway.domain.receiver import Identity, Limits, Slot
from gateway.domain.snapshot import Snapshot
from gateway.errors import GatepostError, StoreUnavailable
from gateway.line import Line, LineConfig
from gateway.line.wire import WireListener
from gateway.maps import Role, load_map
from gateway.ports import Commit
from gateway.receivers import build_receiver
from gateway.sync.resuming import resume_plans
from gateway.virtual.rehearsal import start_from
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.sync_house import Rosters, SyncHouse
from tests.fakes.virtual_wire import VirtualCable, VirtualPort, some_unit

__all__ = ["SLIP_GATE", "Fault", "Life", "WireSite"]

SLIP_GATE = "slip-gate"
BACK_S = 1.5
"""How long the power or the adapter is gone."""


class Fault(StrEnum):
    """What happens at one request."""

    KILL_BEFORE = "the program is killed with the request unheard"
    KILL_AFTER = "the program is killed with the request done and its answer on the way"
    POWER_BEFORE = "the receiver's power is cut before the request"
    POWER_WITHIN = "the receiver's power is cut in the middle of the write"
    POWER_AFTER = "the receiver's power is cut with the request done and its answer on the way"
    ADAPTER_BEFORE = "the adapter is pulled before the request"
    ADAPTER_AFTER = "the adapter is pulled with the request done and its answer on the way"
    NOISE_BEFORE = "noise damages the request"
    NOISE_AFTER = "noise damages the answer"


_AFTER = {Fault.KILL_AFTER, Fault.POWER_AFTER, Fault.ADAPTER_AFTER, Fault.NOISE_AFTER}


class FaultyCable(VirtualCable):
    """Counts requests, and calls `struck` at those that have a fault."""

    def __init__(self, site: WireSite) -> None:
        super().__init__(site.clock, {1: site.unit})
        self._site = site

    async def open(self, config: LineConfig, listener: WireListener) -> VirtualPort:
        await super().open(config, listener)
        self.port = _FaultyPort(self._site, self, listener)
        return self.port


class _FaultyPort(VirtualPort):
    """Strikes on the way out and on the way in."""

    def __init__(self, site: WireSite, cable: FaultyCable, listener: WireListener) -> None:
        super().__init__(cable.station, listener)
        self._site = site

    def send(self, data: bytes) -> None:
        if not self._gone:
            data = self._site.request(data)
        super().send(data)

    def deliver(self, data: bytes) -> None:
        if not self._gone:
            data = self._site.answer(data)
        super().deliver(data)


class _MortalJournal:
    """The journal of one life: what it commits after its death never happened."""

    def __init__(self, store: MemoryStore, life: Life) -> None:
        self._journal = store.journal
        self._life = life

    async def commit(self, commit: Commit) -> tuple[Event, ...]:
        if self._life.dead:
            raise StoreUnavailable("killed", remedy="Start again.")
        return await self._journal.commit(commit)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._journal, name)


class WireSite:
    """One receiver on one line, and what is kept of it."""

    def __init__(self, slots: Iterable[Slot] = (), *, size: int = 64, noise: float = 0.0, seed: int = 1) -> None:
        self.clock = FakeClock()
        self.unit = some_unit(self.clock, slots=size)
        self.memory = self.unit.receiver.memory
        self._fill(tuple(slots), size)
        self.cable = FaultyCable(self)
        self.cable.station.faults.seed = seed
        self.cable.station.faults.noise = noise
        self.cable.station.faults.__post_init__()
        self.store = MemoryStore(self.clock)
        self.rosters = Rosters()
        self.requests = 0
        self.faults: dict[int, Fault] = {}
        self.life: Life | None = None
        self.struck: list[Fault] = []
        self.seen: defaultdict[int, set[bytes]] = defaultdict(set)
        self.slots_written = 0
        self._waiting: Fault | None = None
        self._looked_at = -1
        self._look()

    # --- on the wire ---

    def request(self, data: bytes) -> bytes:
        """A request leaves the program; what of it reaches the receiver."""
        self._look()
        fault = self.faults.get(self.requests)
        self.requests += 1
        self._waiting = None
        if fault is None:
            return data
        if fault in _AFTER:
            self._waiting = fault
            return data
        return self._strike(fault, data)

    def answer(self, data: bytes) -> bytes:
        """The first bytes of an answer arrive; what of them reaches the program."""
        self._look()
        fault, self._waiting = self._waiting, None
        return data if fault is None else self._strike(fault, data)

    def _strike(self, fault: Fault, data: bytes) -> bytes:
        now = self.clock.monotonic()
        self.struck.append(fault)
        if fault in (Fault.NOISE_BEFORE, Fault.NOISE_AFTER):
            return bytes([*data[:2], data[2] ^ 0x10, *data[3:]])
        if fault is Fault.POWER_WITHIN:
            self.unit.faults.power_cut_after, self.unit.faults.power_cut_s = 1, BACK_S
            return data
        if fault in (Fault.POWER_BEFORE, Fault.POWER_AFTER):
            self.unit.receiver.power_off(now, now + BACK_S)
        elif fault in (Fault.ADAPTER_BEFORE, Fault.ADAPTER_AFTER):
            self.cable.unplug()
            self.clock.alarm(self.cable.plug).set(now + BACK_S)
        elif self.life is not None:
            self.life.kill()
            self.cable.station.reset()
        return b""

    def _look(self) -> None:
        """Remember every content that a slot has had: half a slot would be one too many."""
        if self.memory.revision == self._looked_at:
            return
        self._looked_at = self.memory.revision
        for number in range(1, self.memory.limits.slots + 1):
            record = self.memory.slots.get(number)
            self.seen[number].add(record.raw if record else b"")

    # --- the program ---

    async def bring(self, *, approve: bool = False) -> Plan:
        """Bring the receiver to the roster in force, over as many lives as it takes."""
        while True:
            self.life = Life(self)
            try:
                return await self.clock.run(self.life.bring(approve), limit_s=7200)
            except _Killed:
                continue
            finally:
                await self.life.end()

    def held(self) -> dict[int, dict[int, frozenset[int]]]:
        """By the receiver's own memory: outputs by position, by serial; a serial that stands twice is an error."""
        block = load_map("reference").block(Role.SLOTS)
        found: dict[int, dict[int, frozenset[int]]] = {}
        for record in self.memory.slots.values():
            assert record.serial not in found, "a serial stands twice"
            groups = block.decode(record.raw)["outputs"]
            found[record.serial] = {place: group for place, group in enumerate(cast(Any, groups), 1) if group}
        return found

    def _fill(self, slots: tuple[Slot, ...], size: int) -> None:
        taken = datetime(2026, 3, 1, tzinfo=UTC)
        identity = Identity("", "", "", "FQ-0001", "reference", 1)
        limits = Limits(outputs=4, inputs=4, slots=size, positions=8)
        start_from(
            self.unit.receiver,
            Snapshot("x", SLIP_GATE, taken, True, "asked", identity, limits, 5, slots, (), None, None),
        )


class _Killed(Exception):
    """This life is over."""


class Life:
    """One run of the program, from its start to its end or its kill."""

    def __init__(self, site: WireSite) -> None:
        self.dead = False
        self._site = site
        self._tasks: list[asyncio.Task[Any]] = []
        store = SimpleNamespace(**vars(site.store))
        store.journal = _MortalJournal(site.store, self)
        self.line = Line(LineConfig("quay", "/dev/virtual", 115200), site.clock, opener=site.cable.open)
        self.driver = build_receiver(SLIP_GATE, load_map("reference"), self.line, 1, clock=site.clock)
        self.house = SyncHouse(
            [cast(Any, self.driver)], clock=site.clock, store=cast(MemoryStore, store), rosters=site.rosters,
            patience_s=600.0,
        )  # fmt: skip

    def kill(self) -> None:
        """SIGKILL: nothing more is durable, nothing more is sent."""
        self.dead = True
        for task in self._tasks:
            task.cancel()

    async def bring(self, approve: bool) -> Plan:
        """Start, take up what an earlier life has left, and bring the roster. Raises _Killed."""
        for work in (self.line.run(), self.house.runner.run()):
            self._begin(work)
        apply = self._begin(self._apply(approve))
        with suppress(asyncio.CancelledError):
            return cast(Plan, await apply)
        if not self.dead:
            raise asyncio.CancelledError
        raise _Killed

    async def end(self) -> None:
        """Nothing of it is left."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _apply(self, approve: bool) -> Plan:
        store = self.house.store
        await self.line.wait_open()
        await resume_plans(
            plans=store.plans, journal=store.journal, runner=self.house.runner, ids=self.house.ids, site=self.house.site
        )
        while True:
            try:
                return await self.house.runner.apply(SLIP_GATE, approve=approve)
            except GatepostError:
                if self.dead:
                    raise asyncio.CancelledError from None
                await self._site.clock.sleep(1)

    def _begin(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]:
        task = asyncio.ensure_future(work)
        self._tasks.append(task)
        return task
