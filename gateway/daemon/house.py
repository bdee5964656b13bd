"""The whole gateway, plugged together and not yet running."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.archive.papers import PaperDesk, SiteFacts
from gateway.daemon.ground import Ground
from gateway.daemon.names import NameBook
from gateway.daemon.operating import build_operating
from gateway.daemon.outlet_plans import Running
from gateway.daemon.people import PeopleDesks, build_people
from gateway.daemon.pulse import Pulse
from gateway.daemon.syncing import Rosters, Syncing, build_rosters, build_syncing
from gateway.daemon.watching import Watching, build_watching
from gateway.domain.papers import RetentionRow
from gateway.domain.retention import Periods, retention_rows
from gateway.outlets.house import OutletHouse
from gateway.outlets.standing import Standing
from gateway.store.journal import KEEP_EVENTS
from gateway.sync.own_roster_additions import OwnRosterAdditions
from gateway.watch.operating import OperatingDesk

__all__ = ["House", "build_house"]


@dataclass(frozen=True, slots=True)
class House:
    """Every running part by the room it comes from; the daemon's task tree and the API's ports are read off it."""

    ground: Ground
    rosters: Rosters
    watching: Watching
    syncing: Syncing
    people: PeopleDesks
    outlets: OutletHouse
    operating: OperatingDesk
    papers: PaperDesk
    pulse: Pulse


def build_house(ground: Ground) -> House:
    """In the order of need: names of outputs read the roster, the roster names what is seen, what is seen guards what
    is written, events go out last."""
    for naming in ground.store.ledger.namings().values():
        ground.parts.names.take(naming)
    rosters = build_rosters(ground)
    names = NameBook(rosters.rows, {fact.name: fact for fact in ground.parts.facts})
    watching = build_watching(ground, rosters.rows, names)
    syncing = build_syncing(ground, rosters, watching, names)
    operating = build_operating(ground, watching, syncing)
    people = build_people(ground, rosters, syncing)
    if people.own.ours:
        syncing.enrolling.desk.offer(OwnRosterAdditions(people.own, syncing.enrolling.rows))
    papers = _papers(ground, rosters, watching, syncing)
    outlets = _outlets(ground, watching)
    return House(ground, rosters, watching, syncing, people, outlets, operating, papers, _pulse(ground))


def _papers(ground: Ground, rosters: Rosters, watching: Watching, syncing: Syncing) -> PaperDesk:
    settings, parts = ground.settings, ground.parts
    contacts = tuple(each for name, receiver in settings.receivers.items() for each in receiver.contacts(name))
    return PaperDesk(
        SiteFacts(settings.gateway.site, parts.zone, parts.facts, contacts, _retention(ground)), people=watching.people,
        live=watching.watch.live, mirrors=ground.store.mirrors, gates=watching.conditions.gates,
        roster=rosters.keeper, revocations=syncing.revoker, clock=ground.clock, trust=ground.trust,
    )  # fmt: skip


def _retention(ground: Ground) -> tuple[RetentionRow, ...]:
    kept, snapshots = ground.settings.gateway, ground.settings.snapshots
    return retention_rows(
        Periods(
            heard_days=kept.keep_heard_days, history_days=kept.keep_history_days, audit_days=kept.keep_audit_days,
            events=KEEP_EVENTS, snapshots=snapshots.keep_last, snapshot_months=snapshots.keep_months,
        )
    )  # fmt: skip


def _pulse(ground: Ground) -> Pulse:
    return Pulse(ground.clock, ("store", "watch", *(f"line {name}" for name in ground.parts.lines)))


def _outlets(ground: Ground, watching: Watching) -> OutletHouse:
    store, conditions = ground.store, watching.conditions

    def standing() -> Sequence[str]:
        """What needs somebody, in sentences."""
        return [condition.sentence for condition in conditions.open()]

    documents = Standing(watching.watch.live, ground.parts.facts, conditions.gates.gates).documents
    running = Running(
        journal=store.journal, runs=store.runs, trust=ground.trust, clock=ground.clock, standing=standing,
        documents=documents,
    )  # fmt: skip
    return OutletHouse(
        [build(running) for build in ground.parts.outlets], journal=store.journal, outbox=store.outbox,
        clock=ground.clock,
    )  # fmt: skip
