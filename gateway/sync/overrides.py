"""Local overrides: transmitters that work here before the roster has them.

An override is a row of the roster as far as this gateway is concerned: `OverriddenRosters` shows the roster in force
with those rows in it, so that no plan takes them out and everybody's name is known. A row of the roster itself always
goes before. Once the roster has had the serial the override is over, also when a later roster drops it again.

They are in the ledger: a damaged database takes nobody's access.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from gateway.domain.enrolment import Override
from gateway.domain.roster import Entry, Roster
from gateway.errors import GatepostError
from gateway.ports import OverrideLedger
from gateway.sync.drafting import InForce, RosterInForce

__all__ = ["OverriddenRosters", "settle_overrides", "with_overrides"]


def with_overrides(roster: Roster, overrides: Iterable[Override]) -> Roster:
    """The roster and, behind its own rows, those of overrides that it lacks. A group's rights are those of today."""
    listed = roster.by_serial()
    added = tuple(_row(each, roster) for each in overrides if each.serial not in listed)
    return replace(roster, entries=(*roster.entries, *added)) if added else roster


def _row(override: Override, roster: Roster) -> Entry:
    entry = override.entry()
    return replace(entry, rights=roster.groups.get(override.group, entry.rights)) if override.group else entry


class OverriddenRosters:
    """`RosterInForce` with the overrides among its rows; the digest stays the roster's own."""

    def __init__(self, rosters: RosterInForce, ledger: OverrideLedger) -> None:
        self._rosters = rosters
        self._ledger = ledger
        self._made: tuple[Roster, Mapping[int, Override], Roster] | None = None

    @property
    def in_force(self) -> InForce | None:
        bare = self._rosters.in_force
        overrides = self._ledger.overrides()
        if bare is None or not overrides:
            return bare
        if self._made is None or self._made[0] is not bare.roster or self._made[1] != overrides:
            self._made = (bare.roster, dict(overrides), with_overrides(bare.roster, overrides.values()))
        return replace(bare, roster=self._made[2])


async def settle_overrides(rosters: RosterInForce, ledger: OverrideLedger) -> tuple[Override, ...]:
    """End the overrides that the roster has, or had since they were made; returns those.

    One that can't be ended now (a full disk) is ended at the next look; meanwhile the roster's row counts.
    """
    bare = rosters.in_force
    if bare is None:
        return ()
    over = tuple(each for each in ledger.overrides().values() if _is_over(each, bare))
    ended = []
    for override in over:
        try:
            await ledger.end_override(override.serial)
        except GatepostError:
            break
        ended.append(override)
    return tuple(ended)


def _is_over(override: Override, bare: InForce) -> bool:
    rosters = [bare.roster]
    if bare.roster.digest != override.made_under and bare.earlier is not None:
        rosters.append(bare.earlier)
    return any(roster.digest != override.made_under and override.serial in roster.by_serial() for roster in rosters)
