"""The whole sync room over receivers and a store in memory, with the real mirror keeper.

`SyncHouse(...)` builds every part as the daemon does. The receivers and the store outlive it: a second house over the
same ones is the gateway after a restart. `rosters.put` stands for an accepted roster without a file.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from gateway.archive.taking import Archivist
from gateway.domain.drift import DriftPolicy
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.roster import Entry, Right, Roster
from gateway.ports import Archive, Receipts, ReceiverFacts, RosterAcceptance
from gateway.roster.row_text import CsvRowForm
from gateway.sync.applying import Applier
from gateway.sync.before_plan import BeforePlan
from gateway.sync.drafting import Drafter, InForce
from gateway.sync.drift_book import DriftBook
from gateway.sync.drift_desk import DriftDesk
from gateway.sync.enrolling import Enroller
from gateway.sync.enrolment_desk import EnrolmentDesk
from gateway.sync.override_runs import OverrideRuns
from gateway.sync.overrides import OverriddenRosters
from gateway.sync.plan_ids import PlanIds
from gateway.sync.preparing import Preparer
from gateway.sync.receipting import NoReceipts, Receipting, ReceiptWriter
from gateway.sync.restoring import Restorer
from gateway.sync.revoking import Revoker
from gateway.sync.runner import SyncRunner
from gateway.sync.settings_desk import SettingsDesk
from gateway.sync.site import Site
from gateway.sync.turns import Turns
from gateway.sync.visiting import VisitBook
from gateway.sync.waiting import Waiting
from gateway.watch.service import Watch, Watched
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.receiver import FakeReceiver, some_limits

__all__ = ["BERLIN", "FakeTrust", "Rosters", "SyncHouse", "entry", "facts", "quay_receiver", "roster", "run_in"]

T = TypeVar("T")
BERLIN = ZoneInfo("Europe/Berlin")
SLIP_GATE = "slip-gate"


def facts(name: str = SLIP_GATE) -> ReceiverFacts:
    return ReceiverFacts(name, {1: "gate", 2: "light", 3: "boat-hoist"})


def quay_receiver(name: str = SLIP_GATE, *, slots: int = 64, clock: FakeClock | None = None) -> FakeReceiver:
    """A receiver with three outputs and small blocks, so that little data makes many blocks."""
    limits = some_limits(slots=slots, outputs=3, block_slots=8)
    return FakeReceiver(name, clock=clock, limits=limits, slots_per_write=3)


def entry(
    serial: int,
    rights: str = "1:slip-gate/gate",
    *,
    kind: str = "four-button",
    sites: tuple[str, ...] = (),
    valid_from: date | datetime | None = None,
    valid_until: date | datetime | None = None,
) -> Entry:
    """A row whose rights are written as in a roster file: `1:slip-gate/gate 3:slip-gate/boat-hoist`."""
    parsed = []
    for right in rights.split():
        position, _, place = right.partition(":")
        receiver, _, output = place.partition("/")
        parsed.append(Right(receiver, position, output))
    return Entry(
        row=serial + 1,
        serial=serial,
        holder=f"Berth {serial}",
        kind=kind,
        rights=tuple(parsed),
        sites=sites,
        valid_from=valid_from,
        valid_until=valid_until,
    )


def roster(*entries: Entry, digest: str = "d1") -> Roster:
    return Roster(tuple(entries), digest)


@dataclass
class FakeTrust:
    """`ports.Trust` that the test sets."""

    trusted: bool = True


class Rosters:
    """The roster in force, set by the test."""

    def __init__(self) -> None:
        self.in_force: InForce | None = None

    def put(self, new: Roster, accepted: datetime = datetime(2026, 3, 1, tzinfo=UTC)) -> None:
        earlier = self.in_force.roster if self.in_force else None
        self.in_force = InForce(new, RosterAcceptance(new.digest, accepted), earlier)


class SyncHouse:
    """Every part of sync, built over what is given."""

    def __init__(
        self,
        receivers: Sequence[FakeReceiver],
        *,
        clock: FakeClock,
        store: MemoryStore | None = None,
        rosters: Rosters | None = None,
        drift: DriftPolicy = DriftPolicy.REMOVE,
        patience_s: float = 60.0,
        archivist: bool = False,
        receipts: Receipts | None = None,
        boot_id: str = "boot-1",
    ) -> None:
        self.clock = clock
        self.store = store or MemoryStore(clock)
        self.rosters = rosters or Rosters()
        self.trust = FakeTrust()
        self.receivers: Mapping[str, FakeReceiver] = {one.name: one for one in receivers}
        self.site = Site("fennel-quay", BERLIN, dict(self.receivers), {name: facts(name) for name in self.receivers})
        self.ids = PlanIds()
        self.turns = Turns()
        store_ = self.store
        self.policy = drift
        policies = dict.fromkeys(self.receivers, drift)
        self.watch = Watch(
            [Watched(one, "line") for one in receivers],
            journal=store_.journal,
            mirrors=store_.mirrors,
            plans=store_.plans,
            ledger=store_.ledger,
            clock=clock,
            policies=policies,
            visited=lambda: self.work.visited,
        )
        self.keeper = self.watch.keeper
        self.book = DriftBook(
            ledger=store_.ledger, documents=store_.documents, journal=store_.journal, policies=policies
        )
        self.settings = SettingsDesk(site=self.site, journal=store_.journal, mirrors=store_.mirrors, keeper=self.keeper)
        self.work = VisitBook(
            site=self.site,
            gates={name: (name,) for name in self.receivers},
            journal=store_.journal,
            documents=store_.documents,
            ledger=store_.ledger,
            settings=self.settings,
            keeper=self.keeper,
            clock=clock,
            trust=self.trust,
            boot_id=boot_id,
        )
        self.waiting = Waiting(
            ledger=store_.ledger,
            journal=store_.journal,
            plans=store_.plans,
            rosters=self.rosters,
            working=self.work.check,
        )
        rows = OverriddenRosters(self.rosters, store_.ledger)
        self.drafter = Drafter(
            site=self.site,
            clock=clock,
            trust=self.trust,
            ledger=store_.ledger,
            rosters=rows,
            ids=self.ids,
            drift=self.book,
            overrides=store_.ledger.overrides,
        )
        self.archivist = Archivist(snapshots=store_.snapshots, journal=store_.journal, clock=clock, trust=self.trust)
        archive: Archive = self.archivist if archivist else store_.archive
        self.receipting: Receipting = NoReceipts() if receipts is None else ReceiptWriter(
            receipts=receipts, drafter=self.drafter, rosters=self.rosters, mirrors=store_.mirrors,
            waits=store_.ledger.waits, clock=clock, trust=self.trust, site="fennel-quay", boot_id="boot-1",
            apart=_at_once,
        )  # fmt: skip
        self.preparer = Preparer(
            drafter=self.drafter,
            keeper=self.keeper,
            archive=archive,
            journal=store_.journal,
            plans=store_.plans,
            before=BeforePlan(waiting=self.waiting, book=self.book, rosters=rows),
            receipts=self.receipting,
        )
        self.applier = Applier(
            clock=clock,
            journal=store_.journal,
            mirrors=store_.mirrors,
            keeper=self.keeper,
            turns=self.turns,
            settings=self.settings,
            receipts=self.receipting,
            patience_s=patience_s,
        )
        self.runner = SyncRunner(
            site=self.site,
            journal=store_.journal,
            drafter=self.drafter,
            preparer=self.preparer,
            applier=self.applier,
            waiting=self.waiting,
        )
        self.work.planning = self.runner.is_planning
        self.restorer = Restorer(
            site=self.site,
            clock=clock,
            journal=store_.journal,
            plans=store_.plans,
            keeper=self.keeper,
            archive=archive,
            drafter=self.drafter.restores,
            runner=self.runner,
            waiting=self.waiting,
            live=self.watch.live,
            receipts=self.receipting,
        )
        self.revoker = Revoker(
            site=self.site,
            clock=clock,
            journal=store_.journal,
            ledger=store_.ledger,
            proofs=store_.proofs,
            mirrors=store_.mirrors,
            keeper=self.keeper,
            turns=self.turns,
            receipts=self.receipting,
        )
        self.drift = DriftDesk(
            site=self.site,
            clock=clock,
            journal=store_.journal,
            mirrors=store_.mirrors,
            ledger=store_.ledger,
            book=self.book,
            drafter=self.drafter,
            preparer=self.preparer,
            runner=self.runner,
            revocations=self.revoker,
            rosters=rows,
        )
        self.enroller = Enroller(
            site=self.site,
            clock=clock,
            journal=store_.journal,
            mirrors=store_.mirrors,
            documents=store_.documents,
            live=self.watch.live,
            holder=lambda serial: _holder(rows, serial),
            revoked=store_.ledger.revocations,
        )
        self.override_runs = OverrideRuns(
            drafter=self.drafter.overrides,
            preparer=self.preparer,
            runner=self.runner,
            keeper=self.keeper,
            journal=store_.journal,
            documents=store_.documents,
            plans=store_.plans,
        )
        self.enrolments = EnrolmentDesk(
            enroller=self.enroller,
            runs=self.override_runs,
            site=self.site,
            clock=clock,
            journal=store_.journal,
            ledger=store_.ledger,
            kept=store_.ledger,
            rosters=self.rosters,
            form=CsvRowForm(),
        )

    def restarted(self) -> SyncHouse:
        """The gateway after a restart: new parts, the same store, receivers, roster and clock."""
        return SyncHouse(
            list(self.receivers.values()),
            clock=self.clock,
            store=self.store,
            rosters=self.rosters,
            patience_s=60.0,
            drift=self.policy,
        )

    def held(self, name: str = SLIP_GATE) -> dict[int, dict[int, frozenset[int]]]:
        """What the memory holds: positions that work something, by serial; a serial that stands twice is an error."""
        slots = self.receivers[name].board.slots.values()
        found = {slot.serial: rights(slot) for slot in slots}
        assert len(found) == len(slots), "a serial stands twice"
        return found


async def _at_once(work: Callable[[Mirror], T], mirror: Mirror) -> T:
    """In no thread: virtual time would not wait for it."""
    return work(mirror)


def _holder(rosters: OverriddenRosters, serial: int) -> str:
    entry = rosters.in_force.roster.by_serial().get(serial) if rosters.in_force else None
    return entry.holder if entry else ""


def rights(slot: Slot) -> dict[int, frozenset[int]]:
    return {place: group for place, group in enumerate(slot.outputs, 1) if group}


@asynccontextmanager
async def run_in(house: SyncHouse) -> AsyncIterator[None]:
    """The runner's and the revoker's tasks, while the body runs."""
    async with asyncio.TaskGroup() as group:
        works = (house.runner.run(), house.revoker.run(), house.restorer.run(), house.drift.run(), house.work.run())
        tasks = [group.create_task(work) for work in works]
        await house.clock.settle()
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()
