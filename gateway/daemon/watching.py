"""Builds the parts that look: polling and the mirror, the conditions, and the answer to "why does it not open?"."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from gateway.archive.keepsake import Keepsake
from gateway.archive.taking import Archivist
from gateway.daemon.ground import Ground
from gateway.daemon.names import NameBook
from gateway.daemon.parts import Parts
from gateway.daemon.working import Visited
from gateway.domain.receiver import Capability
from gateway.domain.roster import Roster
from gateway.line import Line
from gateway.ports import LineCount, LineCounts
from gateway.settings import Settings
from gateway.settings.gates import build_gates
from gateway.sync.drafting import RosterInForce
from gateway.system.boot import read_boot_id
from gateway.watch.conditions import ConditionWatch, Premises
from gateway.watch.people import Directory
from gateway.watch.service import Watch, Watched
from gateway.watch.telling import Names
from gateway.watch.why import Explainer

__all__ = ["Watching", "build_watching"]


@dataclass(frozen=True, slots=True)
class Watching:
    """The running parts of `watch`."""

    watch: Watch
    conditions: ConditionWatch
    whys: Explainer
    people: Directory
    visited: Visited
    archivist: Archivist


def build_watching(ground: Ground, rosters: RosterInForce, names: NameBook) -> Watching:
    """Nothing runs yet: `Watch.run` and `ConditionWatch.run` are tasks of the daemon."""
    settings, parts, store, clock = ground.settings, ground.parts, ground.store, ground.clock

    def roster() -> Roster | None:
        return rosters.in_force.roster if rosters.in_force else None

    visited = Visited()
    archivist = Archivist(snapshots=store.snapshots, journal=store.journal, clock=clock, trust=ground.trust)
    watch = Watch(
        [Watched(driver, parts.line_of[name], settings.receivers[name].polls_per_second,
                 settings.receivers[name].inverted_inputs)
         for name, driver in parts.receivers.items()],
        journal=store.journal, mirrors=store.mirrors, plans=store.plans, ledger=store.ledger, clock=clock,
        names=Names(names.holder, names.position, names.output, names.input), policies=settings.drift,
        by_hand={name: receiver.limits for name, receiver in parts.by_hand.items()}, visited=visited,
        keepsakes=Keepsake(archivist=archivist, snapshots=store.snapshots),
    )  # fmt: skip
    premises = build_premises(settings, parts)
    conditions = ConditionWatch(
        premises, journal=store.journal, documents=store.documents, live=watch.live, clock=clock, trust=ground.trust,
        boot_id=read_boot_id(), lines=_Lines(parts.lines), revoked=store.ledger.revocations,
        known=lambda: rosters.in_force.roster.by_serial() if rosters.in_force else (), visited=visited,
    )  # fmt: skip
    whys = Explainer(
        premises, site=settings.gateway.site, journal=store.journal, mirrors=store.mirrors, live=watch.live,
        clock=clock, roster=roster, revoked=store.ledger.revocations,
    )  # fmt: skip
    keep_slots = [fact for fact in parts.facts if Capability.SLOTS in parts.all_receivers[fact.name].capabilities]
    people = Directory(
        premises, site=settings.gateway.site, receivers=keep_slots, journal=store.journal, mirrors=store.mirrors,
        clock=clock, trust=ground.trust, roster=roster, revoked=store.ledger.revocations,
        keep_heard=timedelta(days=settings.gateway.keep_heard_days),
    )  # fmt: skip
    return Watching(watch, conditions, whys, people, visited, archivist)


def build_premises(settings: Settings, parts: Parts) -> Premises:
    """Gates, contacts and limits as the conditions need them."""
    contacts = tuple(contact for name, receiver in settings.receivers.items() for contact in receiver.contacts(name))
    return Premises(
        gates=build_gates(settings.gates, settings.receivers),
        contacts=contacts,
        limits=settings.conditions.limits,
        line_of=parts.line_of,
        zone=parts.zone,
    )


@dataclass(frozen=True, slots=True)
class _Lines(LineCounts):
    """How well frames come through; what noise spoils is damaged, or fits another request."""

    lines: Mapping[str, Line]

    def counts(self) -> Mapping[str, LineCount]:
        counters = {name: line.counters for name, line in self.lines.items()}
        return {name: LineCount(each.frames_sent, each.damaged + each.foreign) for name, each in counters.items()}
