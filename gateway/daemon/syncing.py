"""Builds the parts that change receivers, and the archive that stands before every change.

Everything that writes slots goes through the one `SyncRunner` and the one `Applier`; revocations have their own way,
and `Turns` keeps the two from meeting on one receiver.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from gateway.archive.clearing import ClearingDesk
from gateway.archive.restoring import RestoreDesk
from gateway.archive.shelf import Shelf
from gateway.daemon.drifting import build_drift_book, build_drift_desk
from gateway.daemon.enrolling import Enrolling, build_enrolling
from gateway.daemon.ground import Ground
from gateway.daemon.names import NameBook
from gateway.daemon.watching import Watching
from gateway.daemon.working import build_work
from gateway.ports import LiveView, ReceiverFacts
from gateway.receivers.manual import HandBook
from gateway.sync.applying import Applier
from gateway.sync.before_plan import BeforePlan
from gateway.sync.by_hand.desk import VisitDesk
from gateway.sync.by_hand.keeping import SiteKeeper
from gateway.sync.by_hand.runs import SiteRestores, SiteRuns
from gateway.sync.date_timer import DateTimer
from gateway.sync.drafting import Drafter
from gateway.sync.drift_desk import DriftDesk
from gateway.sync.naming_desk import NamingDesk
from gateway.sync.overrides import OverriddenRosters
from gateway.sync.plan_ids import PlanIds
from gateway.sync.preparing import Preparer
from gateway.sync.receipting import ReceiptWriter
from gateway.sync.restoring import Restorer
from gateway.sync.revocation_list import RevocationList
from gateway.sync.revoking import Revoker
from gateway.sync.roster_keeper import RosterKeeper
from gateway.sync.runner import SyncRunner
from gateway.sync.selecting import Selector
from gateway.sync.settings_desk import SettingsDesk
from gateway.sync.site import Site
from gateway.sync.timetable import WallTimetable
from gateway.sync.turns import Turns
from gateway.sync.visiting import VisitBook
from gateway.sync.waiting import Waiting
from gateway.system.boot import read_boot_id

__all__ = ["Rosters", "Syncing", "build_rosters", "build_syncing"]


@dataclass(frozen=True, slots=True)
class Rosters:
    """The roster in force and when the next one is fetched; there before anything looks at a receiver.

    `rows` is the roster in force with the local overrides among its rows.
    """

    keeper: RosterKeeper
    timetable: WallTimetable | None
    rows: OverriddenRosters


def build_rosters(ground: Ground) -> Rosters:
    settings, parts, store, clock = ground.settings, ground.parts, ground.store, ground.clock
    timetable: WallTimetable | None = None
    if parts.rule is not None and settings.roster is not None:
        timetable = WallTimetable(
            rule=parts.rule, clock=clock, trust=ground.trust, journal=store.journal, runs=store.runs,
            spread_s=float(settings.roster.spread_s), seed=settings.gateway.site,
        )  # fmt: skip
    keeper = RosterKeeper(
        source=parts.source, reader=parts.reader, archive=store.roster_files, ledger=store.ledger,
        journal=store.journal, clock=clock, receivers=parts.facts, timetable=timetable,
        book=store.roster_book, trust=ground.trust,
    )  # fmt: skip
    return Rosters(keeper, timetable, OverriddenRosters(keeper, store.ledger))


@dataclass(frozen=True, slots=True)
class Syncing:
    """The running parts of `sync` and `archive`."""

    site: Site
    ids: PlanIds
    runner: SyncRunner
    settings: SettingsDesk
    naming: NamingDesk
    waiting: Waiting
    restorer: Restorer
    revoker: Revoker
    revocation_list: RevocationList | None
    shelf: Shelf
    restores: RestoreDesk
    clearing: ClearingDesk
    enrolling: Enrolling
    selector: Selector
    drift: DriftDesk
    dates: DateTimer
    snapshot_times: WallTimetable | None
    keeper: SiteKeeper
    visits: VisitDesk
    work: VisitBook
    runs: SiteRuns


def build_syncing(ground: Ground, rosters: Rosters, watching: Watching, names: NameBook) -> Syncing:
    settings, parts, store = ground.settings, ground.parts, ground.store
    clock, trust, journal, mirrors = ground.clock, ground.trust, store.journal, store.mirrors
    facts, live = {fact.name: fact for fact in parts.facts}, watching.watch.live
    site = Site(settings.gateway.site, parts.zone, parts.all_receivers, facts, frozenset(parts.by_hand))
    keeper = SiteKeeper(watching.watch.keeper, site=site, mirrors=mirrors)
    ids, turns = PlanIds(), Turns()
    archive = watching.archivist
    book = build_drift_book(ground)
    drafter = Drafter(
        site=site, clock=clock, trust=trust, ledger=store.ledger, rosters=rosters.rows, ids=ids,
        overrides=store.ledger.overrides,
        drift=book,
    )  # fmt: skip
    receipts = ReceiptWriter(
        receipts=store.receipts, drafter=drafter, rosters=rosters.keeper, mirrors=mirrors,
        waits=store.ledger.waits, clock=clock, trust=trust, site=site.name, boot_id=read_boot_id(),
    )  # fmt: skip
    desk = SettingsDesk(site=site, journal=journal, mirrors=mirrors, keeper=keeper)
    naming = NamingDesk(
        site=site, names=parts.names, counts=_Outputs(live, facts), ledger=store.ledger, journal=journal,
        rosters=rosters.rows,
    )  # fmt: skip
    gates = {each.gate.name: each.gate for each in watching.conditions.gates.gates()}
    work = build_work(ground, watching.visited, gates, site=site, settings=desk, keeper=keeper)
    waiting = Waiting(
        ledger=store.ledger, journal=journal, plans=store.plans, rosters=rosters.keeper, working=work.check
    )
    preparer = Preparer(
        drafter=drafter, keeper=keeper, archive=archive, journal=journal, plans=store.plans, live=live,
        before=BeforePlan(waiting=waiting, book=book, rosters=rosters.rows), receipts=receipts,
    )  # fmt: skip
    applier = Applier(
        clock=clock, journal=journal, mirrors=mirrors, keeper=keeper, turns=turns, settings=desk, receipts=receipts
    )
    runner = SyncRunner(
        site=site, journal=journal, drafter=drafter, preparer=preparer, applier=applier, waiting=waiting
    )
    work.planning = runner.is_planning
    restorer = Restorer(
        site=site, clock=clock, journal=journal, plans=store.plans, keeper=keeper, archive=archive,
        drafter=drafter.restores, runner=runner, waiting=waiting, live=live, receipts=receipts,
    )  # fmt: skip
    shelf = Shelf(
        archivist=archive, snapshots=store.snapshots, receivers=site.receivers, facts=site.facts, keeper=keeper,
        mirrors=mirrors, live=live, plans=store.plans, waits=waiting, clock=clock, trust=trust,
        keep_last=settings.snapshots.keep_last, keep_months=settings.snapshots.keep_months,
    )  # fmt: skip
    clearing = ClearingDesk(
        receivers=site.receivers, keeper=keeper, archive=archive, live=live, runs=restorer, waits=waiting,
        snapshots=store.snapshots, clock=clock,
    )  # fmt: skip
    visits = VisitDesk(
        site=site, limits=HandBook(parts.by_hand), clock=clock, trust=trust, journal=journal, mirrors=mirrors,
        documents=store.documents, plans=store.plans, ledger=store.ledger, rosters=rosters.rows, drafter=drafter,
        preparer=preparer, archive=archive, snapshots=store.snapshots, waiting=waiting,
    )  # fmt: skip
    restores = RestoreDesk(
        snapshots=store.snapshots, receivers=site.receivers, facts=site.facts, keeper=keeper, live=live,
        runs=SiteRestores(restorer, visits, site=site),
    )  # fmt: skip
    revoker = Revoker(
        site=site, clock=clock, journal=journal, ledger=store.ledger, proofs=store.proofs, mirrors=mirrors,
        keeper=keeper, turns=turns, by_hand=visits, receipts=receipts,
    )  # fmt: skip
    enrolling = build_enrolling(
        ground, watching, names, rosters=rosters.keeper, site=site, drafter=drafter, preparer=preparer, runner=runner
    )
    drift = build_drift_desk(
        ground, site=site, book=book, drafter=drafter, preparer=preparer, runner=runner, revocations=revoker,
        rosters=rosters.rows,
    )  # fmt: skip

    async def bring_by_date() -> bool:
        """The sheets first: they need no line."""
        settled = await visits.settle_all()
        return await runner.bring_applied() and settled

    dates = DateTimer(
        site=site, clock=clock, trust=trust, journal=journal, runs=store.runs, rosters=rosters.rows,
        bring=bring_by_date,
    )  # fmt: skip
    return Syncing(
        site=site, ids=ids, runner=runner, settings=desk, naming=naming, waiting=waiting, restorer=restorer,
        revoker=revoker, revocation_list=_revocation_list(ground, revoker), shelf=shelf, restores=restores,
        clearing=clearing, enrolling=enrolling,
        selector=Selector(site=site, rosters=rosters.rows, ledger=store.ledger, mirrors=mirrors),
        drift=drift, dates=dates, snapshot_times=_snapshot_times(ground), keeper=keeper, visits=visits,
        work=work,
        runs=SiteRuns(runner, visits, preparer=preparer, site=site),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Outputs:
    """How many outputs a receiver has: as it has told, else as its map or the settings say."""

    live: LiveView
    facts: Mapping[str, ReceiverFacts]

    def __call__(self, receiver: str) -> int:
        limits = self.live.receiver(receiver).limits
        return limits.outputs if limits is not None else self.facts[receiver].output_limit


def _revocation_list(ground: Ground, revoker: Revoker) -> RevocationList | None:
    if ground.parts.list_source is None:
        return None
    return RevocationList(
        source=ground.parts.list_source, revocations=revoker, ledger=ground.store.ledger,
        journal=ground.store.journal, clock=ground.clock, seed=ground.settings.gateway.site,
    )  # fmt: skip


def _snapshot_times(ground: Ground) -> WallTimetable | None:
    if ground.parts.snapshot_rule is None:
        return None
    return WallTimetable(
        rule=ground.parts.snapshot_rule, clock=ground.clock, trust=ground.trust, journal=ground.store.journal,
        runs=ground.store.runs, name="snapshots",
    )  # fmt: skip
