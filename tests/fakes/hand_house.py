"""A boat shed that no line reaches: visit sheets over a store in memory, with the real drafter, guard and archive.

`HandHouse` builds the parts as the daemon does; a second one over the same store is the gateway after a restart.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager

from gateway.archive.taking import Archivist
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Identity, Limits, Slot
from gateway.domain.urgency import Urgency
from gateway.domain.visit_sheet import Gesture, LineState
from gateway.ports import Progress, ReceiverFacts
from gateway.receivers.manual import ManualReceiver
from gateway.sync.by_hand.desk import VisitDesk
from gateway.sync.by_hand.keeping import SiteKeeper
from gateway.sync.by_hand.runs import SiteRestores, SiteRuns
from gateway.sync.drafting import Drafter
from gateway.sync.plan_ids import PlanIds
from gateway.sync.preparing import Preparer
from gateway.sync.restoring import Restorer
from gateway.sync.revoking import Revoker
from gateway.sync.site import Site
from gateway.sync.turns import Turns
from gateway.sync.waiting import Waiting
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.sync_house import BERLIN, FakeTrust, Rosters
from tests.fakes.use_cases import FakeSync

__all__ = ["SHED", "HandHouse", "kept_up"]

SHED = "boat-shed"


class _Limits:
    def __init__(self, receivers: Mapping[str, ManualReceiver]) -> None:
        self._receivers = receivers

    def limits(self, receiver: str) -> Limits:
        return self._receivers[receiver].limits

    def identity(self, receiver: str) -> Identity:
        return self._receivers[receiver].identity


class HandHouse:
    """One receiver without a line, `boat-shed`, with a gate (1) and a hoist (2)."""

    def __init__(
        self,
        *,
        clock: FakeClock | None = None,
        store: MemoryStore | None = None,
        rosters: Rosters | None = None,
        slots: int = 16,
    ) -> None:
        self.clock = clock or FakeClock()
        self.store = store or MemoryStore(self.clock)
        self.rosters = rosters or Rosters()
        self.slots = slots
        self.trust = FakeTrust()
        store_ = self.store
        shed = ManualReceiver(SHED, Limits(outputs=2, inputs=0, slots=slots, positions=8, block_slots=8))
        facts = ReceiverFacts(SHED, {1: "gate", 2: "hoist"})
        self.site = Site("fennel-quay", BERLIN, {SHED: shed}, {SHED: facts}, frozenset({SHED}))
        self.drafter = Drafter(
            site=self.site, clock=self.clock, trust=self.trust, ledger=store_.ledger, rosters=self.rosters,
            ids=PlanIds(),
        )  # fmt: skip
        archive = Archivist(snapshots=store_.snapshots, journal=store_.journal, clock=self.clock, trust=self.trust)
        keeper = SiteKeeper(_NoKeeper(), site=self.site, mirrors=store_.mirrors)
        self.preparer = Preparer(
            drafter=self.drafter, keeper=keeper, archive=archive, journal=store_.journal, plans=store_.plans
        )
        self.waiting = Waiting(ledger=store_.ledger, journal=store_.journal, plans=store_.plans, rosters=self.rosters)
        self.desk = VisitDesk(
            site=self.site, limits=_Limits({SHED: shed}), clock=self.clock, trust=self.trust,
            journal=store_.journal, mirrors=store_.mirrors, documents=store_.documents, plans=store_.plans,
            ledger=store_.ledger, rosters=self.rosters, drafter=self.drafter, preparer=self.preparer,
            archive=archive, snapshots=store_.snapshots, waiting=self.waiting,
        )  # fmt: skip
        restorer = Restorer(
            site=self.site, clock=self.clock, journal=store_.journal, plans=store_.plans, keeper=keeper,
            archive=archive, drafter=self.drafter.restores, runner=_no_runs(store_),  # type: ignore[arg-type]
            waiting=self.waiting,
        )  # fmt: skip
        self.restores = SiteRestores(restorer, self.desk, site=self.site)
        self.runs = SiteRuns(_no_runs(store_), self.desk, preparer=self.preparer, site=self.site)
        self.revoker = Revoker(
            site=self.site, clock=self.clock, journal=store_.journal, ledger=store_.ledger, proofs=store_.proofs,
            mirrors=store_.mirrors, keeper=keeper, turns=Turns(), by_hand=self.desk,
        )  # fmt: skip

    async def restarted(self) -> HandHouse:
        """The gateway after a restart: new parts over the same store."""
        house = HandHouse(clock=self.clock, store=self.store, rosters=self.rosters, slots=self.slots)
        await house.desk.load()
        return house

    # --- what a test looks at ---

    def held(self) -> dict[int, set[tuple[int, int]]]:
        """By the mirror: pairs of position and output, by serial."""
        mirror = self.store.mirrors.load(SHED)
        assert mirror is not None
        assert len({slot.serial for slot in mirror.slots.values()}) == len(mirror.slots), "a serial stands twice"
        assert all(number == slot.number for number, slot in mirror.slots.items())
        return {slot.serial: set(slot.pairs) for slot in mirror.slots.values()}

    def lines(self, state: LineState = LineState.OPEN) -> dict[int, tuple[Gesture, int, int, int]]:
        """What the sheet asks for, by line number, in its order."""
        return {line.number: line.work for line in self.desk.sheet(SHED).lines if line.state is state}

    async def tick(self, *numbers: int) -> None:
        """Tick these lines."""
        for number in numbers:
            await self.desk.tick(SHED, number, done_by="Barge crew", asked_by="token:desk")


class _NoKeeper:
    """No receiver of this house has a line."""

    async def refresh(
        self, receiver: str, *, urgency: Urgency = Urgency.BULK, progress: Progress | None = None
    ) -> Mirror:
        raise AssertionError("a receiver without a line was asked")

    async def record(
        self, receiver: str, slots: Mapping[int, Slot | None], revision: int, crcs: tuple[int, ...]
    ) -> Mirror:
        raise AssertionError("a receiver without a line was asked")

    async def confirm(self, receiver: str) -> None:
        raise AssertionError("a receiver without a line was asked")


def _no_runs(store: MemoryStore) -> FakeSync:
    return FakeSync(store.plans, None)  # type: ignore[arg-type]


@asynccontextmanager
async def kept_up(house: HandHouse) -> AsyncIterator[None]:
    """The desk's task, while the body runs."""
    async with asyncio.TaskGroup() as group:
        task = group.create_task(house.desk.run())
        await house.clock.settle()
        try:
            yield
        finally:
            task.cancel()
