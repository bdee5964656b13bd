"""The API's ports, read off the house."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from gateway.api.services import Services
from gateway.daemon.forgetting import build_forgetter
from gateway.daemon.house import House
from gateway.daemon.looking_back import build_historian
from gateway.daemon.notices import gather_notices
from gateway.daemon.pulse import find_health
from gateway.ports import Timetable

__all__ = ["build_services"]


def build_services(house: House) -> Services:
    ground, watching, syncing = house.ground, house.watching, house.syncing
    store, parts = ground.store, ground.parts
    return Services(
        gateway_id=ground.settings.gateway.site,
        clock=ground.clock,
        trust=ground.trust,
        live=watching.watch.live,
        journal=store.journal,
        mirrors=store.mirrors,
        keeper=syncing.keeper,
        plans=store.plans,
        sync=syncing.runs,
        roster=house.rosters.keeper,
        reader=parts.reader,
        timetable=house.rosters.timetable or _NoTimetable(),
        revocations=syncing.revoker,
        settings=syncing.settings,
        names=syncing.naming,
        tokens=store.tokens,
        audit=store.audit,
        replays=store.replays,
        gates=watching.conditions.gates,
        conditions=watching.conditions,
        whys=watching.whys,
        snapshots=syncing.shelf,
        restores=syncing.restores,
        waits=syncing.waiting,
        clearing=syncing.clearing,
        outlets=house.outlets,
        documents=store.documents,
        enrolments=syncing.enrolling.desk,
        rows=syncing.enrolling.rows,
        selections=syncing.selector,
        operating=house.operating,
        visits=syncing.work,
        receipts=store.receipts,
        history=store.history,
        histories=build_historian(house),
        people=watching.people,
        drift=syncing.drift,
        dates=syncing.dates,
        papers=house.papers,
        own_roster=house.people.own,
        first_rosters=house.people.first,
        visit_sheets=syncing.visits,
        forgetting=build_forgetter(house),
        facts=parts.facts,
        capabilities={name: driver.capabilities for name, driver in parts.all_receivers.items()},
        zone=ZoneInfo(ground.settings.gateway.time_zone),
        lines=parts.lines,
        health=lambda: find_health(ground, house.pulse),
        journal_available=lambda: not store.journal.problem,
        notices=lambda: gather_notices(house),
    )


class _NoTimetable(Timetable):
    """A site that syncs by hand only."""

    def next_run(self) -> None:
        return None
