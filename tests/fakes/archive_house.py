"""The archive room over the whole sync room: snapshots that are really taken, plans that are really written.

Receivers, store and clock outlive it; `restarted` is the gateway after a restart.
"""

from __future__ import annotations

from collections.abc import Sequence

from gateway.archive.clearing import ClearingDesk
from gateway.archive.restoring import RestoreDesk
from gateway.archive.shelf import Shelf
from gateway.domain.plan import Plan, PlanState
from gateway.domain.receiver import Origin, Slot
from gateway.ports import Receipts, RestoreOrder, SnapshotHead
from gateway.sync.resuming import resume_plans
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.receiver import FakeReceiver
from tests.fakes.sync_house import Rosters, SyncHouse

__all__ = ["ArchiveHouse", "fill"]


def fill(receiver: FakeReceiver, *slots: Slot) -> None:
    """Put these into the memory as if written over the line."""
    for slot in slots:
        receiver.board.put(slot.number, slot, Origin.LINE)


class ArchiveHouse(SyncHouse):
    """`SyncHouse` with a shelf, a desk for restores and one for clearing."""

    def __init__(
        self,
        receivers: Sequence[FakeReceiver],
        *,
        clock: FakeClock,
        store: MemoryStore | None = None,
        rosters: Rosters | None = None,
        patience_s: float = 60.0,
        keep_last: int = 20,
        receipts: Receipts | None = None,
    ) -> None:
        super().__init__(
            receivers, clock=clock, store=store, rosters=rosters, patience_s=patience_s, archivist=True,
            receipts=receipts,
        )  # fmt: skip
        kept = self.store
        self.shelf = Shelf(
            archivist=self.archivist,
            snapshots=kept.snapshots,
            receivers=self.receivers,
            facts=self.site.facts,
            keeper=self.keeper,
            mirrors=kept.mirrors,
            live=self.watch.live,
            plans=kept.plans,
            waits=self.waiting,
            clock=clock,
            trust=self.trust,
            keep_last=keep_last,
        )
        self.desk = RestoreDesk(
            snapshots=kept.snapshots,
            receivers=self.receivers,
            facts=self.site.facts,
            keeper=self.keeper,
            live=self.watch.live,
            runs=self.restorer,
        )
        self.clearing = ClearingDesk(
            receivers=self.receivers,
            keeper=self.keeper,
            archive=self.archivist,
            live=self.watch.live,
            runs=self.restorer,
            waits=self.waiting,
            snapshots=kept.snapshots,
            clock=clock,
        )

    def restarted(self) -> ArchiveHouse:
        return ArchiveHouse(list(self.receivers.values()), clock=self.clock, store=self.store, rosters=self.rosters)

    async def resume(self) -> tuple[Plan, ...]:
        """What the daemon does at its start, before anything else runs."""
        return await resume_plans(
            plans=self.store.plans, journal=self.store.journal, runner=self.runner, ids=self.ids, site=self.site
        )

    async def take(self, receiver: str = "slip-gate") -> SnapshotHead:
        """One snapshot, asked for."""
        return await self.clock.run(self.shelf.take(receiver))

    async def restore(self, order: RestoreOrder, *, approve: bool = True) -> Plan:
        """Start it, approve it when it is held, and wait for its end. The house must be running (`run_in`)."""
        plan = await self.clock.run(self.desk.start(order, asked_by="Kim"))
        if plan.state is PlanState.HELD and approve:
            plan = await self.clock.run(self.runner.approve(plan.id, asked_by="Kim"))
        return await self.end_of(plan)

    async def end_of(self, plan: Plan, *, limit_s: float = 3600.0) -> Plan:
        """The plan as it ended, or as it is held."""
        waited = 0.0
        while True:
            now = self.store.plans.kept.get(plan.id, plan)
            if now.state.is_final or now.state is PlanState.HELD:
                return now
            assert waited < limit_s, f"plan {plan.id} never ends"
            await self.clock.advance(1)
            waited += 1
