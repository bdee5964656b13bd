"""Builds what forgets a person, and what follows in memory when everything that lasts is free of them."""

from __future__ import annotations

from collections.abc import Collection

from gateway.archive.forgetting import Forgetter
from gateway.daemon.house import House
from gateway.domain.receiver import Capability
from gateway.domain.roster import Roster

__all__ = ["build_forgetter"]


def build_forgetter(house: House) -> Forgetter:
    store, rows = house.ground.store, house.rosters.rows
    drivers = house.ground.parts.all_receivers

    def roster() -> Roster | None:
        return rows.in_force.roster if rows.in_force else None

    def digest() -> str:
        return store.ledger.accepted.digest if store.ledger.accepted else ""

    async def afterwards(serials: Collection[int]) -> None:
        house.watching.people.forget(serials)
        await house.syncing.visits.load()

    return Forgetter(
        data=store.personal,
        roster=roster,
        digest=digest,
        receivers=[name for name, driver in drivers.items() if Capability.SLOTS in driver.capabilities],
        mirrors=store.mirrors,
        revoked=store.ledger.revocations,
        afterwards=afterwards,
    )
