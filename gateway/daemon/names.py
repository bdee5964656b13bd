"""What serials, positions, outputs and inputs are called, from the roster in force and the settings."""

from __future__ import annotations

from collections.abc import Mapping

from gateway.domain.roster import Entry, Roster
from gateway.ports import ReceiverFacts
from gateway.sync.drafting import RosterInForce

__all__ = ["NameBook"]


class NameBook:
    """Looks names up at the moment of asking; the rows of a roster are indexed once."""

    def __init__(self, rosters: RosterInForce, facts: Mapping[str, ReceiverFacts]) -> None:
        self._rosters = rosters
        self._facts = facts
        self._indexed: tuple[Roster | None, dict[int, Entry]] = (None, {})

    def entry(self, serial: int) -> Entry | None:
        in_force = self._rosters.in_force
        if in_force is None:
            return None
        if self._indexed[0] is not in_force.roster:
            self._indexed = (in_force.roster, in_force.roster.by_serial())
        return self._indexed[1].get(serial)

    def holder(self, serial: int) -> str | None:
        entry = self.entry(serial)
        return entry.holder if entry else None

    def position(self, serial: int, number: int) -> str:
        entry, in_force = self.entry(serial), self._rosters.in_force
        kind = in_force.roster.kinds.get(entry.kind) if entry and in_force else None
        return kind.label_of(number) if kind else str(number)

    def output(self, receiver: str, number: int) -> str:
        return self._facts[receiver].outputs.get(number, "")

    def input(self, receiver: str, number: int) -> str:
        return self._facts[receiver].inputs.get(number, "")
