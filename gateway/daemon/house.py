"""The whole gateway, plugged together and not yet running."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.daemon.ground import Ground
from gateway.daemon.names import NameBook
from gateway.daemon.operating import build_operating
from gateway.daemon.syncing import Rosters, Syncing, build_rosters, build_syncing
from gateway.daemon.watching import Watching, build_watching
from gateway.outlet_plans import Running
from gateway.outlets.house import OutletHouse
from gateway.outlets.standing import Standing
from gateway.watch.operating import OperatingDesk

__all__ = ["House", "build_house"]


@dataclass(frozen=True, slots=True)
class House:
    """Every running part by the room it comes from; the daemon's task tree and the API's ports are read off it."""

    ground: Ground
    rosters: Rosters
    watching: Watching
    syncing: Syncing
    outlets: OutletHouse
    operating: OperatingDesk


def build_house(ground: Ground) -> House:
    """In the order of need: the roster names what is seen, what is seen guards what is written, events go out last."""
    rosters = build_rosters(ground)
    names = NameBook(rosters.rows, {fact.name: fact for fact in ground.parts.facts})
    watching = build_watching(ground, rosters.rows, names)
    syncing = build_syncing(ground, rosters, watching, names)
    operating = build_operating(ground, watching, syncing)
    return House(ground, rosters, watching, syncing, _outlets(ground, watching), operating)


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
