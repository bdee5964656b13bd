"""What one transmitter works, position by position: what the roster wants beside what the receivers hold.

Pure. It repeats no decision of a plan: doubtful cases (a full memory, a waiting roster) show as "not written yet".
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from gateway.domain.mirror import Mirror
from gateway.domain.person import Place, PlaceState
from gateway.domain.receiver import Slot
from gateway.domain.roster import Entry
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.ports import ReceiverFacts
from gateway.watch.conditions.premises import Premises

__all__ = ["Held", "Spot", "place_sentence", "places_of", "wanted_pairs"]

Pairs = frozenset[tuple[int, int]]
_NONE: Pairs = frozenset()


@dataclass(frozen=True)
class Held:
    """A receiver's memory by serial; `slots` is None while it hasn't been read."""

    facts: ReceiverFacts
    slots: Mapping[int, Sequence[Slot]] | None
    outputs: int = 0
    positions: int = 8

    @classmethod
    def of(cls, facts: ReceiverFacts, mirror: Mirror | None) -> Held:
        if mirror is None:
            return cls(facts, None)
        slots: defaultdict[int, list[Slot]] = defaultdict(list)
        for number in sorted(mirror.slots):
            slots[mirror.slots[number].serial].append(mirror.slots[number])
        return cls(facts, slots, mirror.limits.outputs, mirror.limits.positions)

    def pairs(self, serial: int) -> Pairs | None:
        """What works there for a transmitter; None while that isn't known.

        Of one that stands twice the lower slot works (docs/register-map.md, slots).
        """
        if self.slots is None:
            return None
        held = self.slots.get(serial)
        return held[0].pairs if held else _NONE


@dataclass(frozen=True, slots=True)
class Spot:
    """One receiver as a transmitter sees it: `wanted` None when nothing is to be decided (dates, an untrusted clock),
    or when the roster doesn't list it."""

    held: Held
    wanted: Pairs | None
    since: datetime | None = None


def wanted_pairs(entry: Entry, kind: Kind, held: Held) -> Pairs:
    """Position and output numbers that the row's rights mean at this receiver; what doesn't exist is left out."""
    found = set()
    for right in entry.rights:
        if right.receiver.casefold() != held.facts.name.casefold():
            continue
        position, output = kind.number_of(right.position), held.facts.output_number(right.output)
        if position and output and position <= held.positions and (not held.outputs or output <= held.outputs):
            found.add((position, output))
    return frozenset(found)


def places_of(serial: int, kind: Kind | None, spots: Iterable[Spot], premises: Premises) -> tuple[Place, ...]:
    """Every place, in the order of receivers and positions."""
    label = (kind or BUILT_IN_KINDS["any"]).label_of
    places = []
    for spot in spots:
        held = spot.held.pairs(serial)
        wanted = spot.wanted if spot.wanted is not None else (held or _NONE)
        for state, pairs in _by_state(wanted, held):
            for position in sorted({position for position, _ in pairs}):
                outputs = tuple(sorted(output for number, output in pairs if number == position))
                places.append(_place(spot, label(position), outputs, state, premises))
    return tuple(places)


def _by_state(wanted: Pairs, held: Pairs | None) -> Iterable[tuple[PlaceState, Pairs]]:
    if held is None:
        return ((PlaceState.UNKNOWN, wanted),)
    states = ((PlaceState.WORKS, wanted & held), (PlaceState.COMING, wanted - held), (PlaceState.GOING, held - wanted))
    return tuple((state, pairs) for state, pairs in states if pairs)


def _place(spot: Spot, position: str, outputs: tuple[int, ...], state: PlaceState, premises: Premises) -> Place:
    facts = spot.held.facts
    names = tuple(facts.outputs.get(output) or str(output) for output in outputs)
    what = _joined([_thing(facts, output, premises) for output in outputs])
    since = spot.since if state is not PlaceState.COMING else None
    return Place(facts.name, position, outputs, names, state, place_sentence(position, what, state), since)


_VERBS: Mapping[PlaceState, str] = {
    PlaceState.WORKS: "works {}",
    PlaceState.COMING: "is to work {}; it is not written yet",
    PlaceState.GOING: "still works {}; it is not taken away yet",
    PlaceState.UNKNOWN: "is to work {}; the receiver's memory has not been read yet",
}


def place_sentence(position: str, what: str, state: PlaceState) -> str:
    """ "Position 1 works Slip gate." """
    return f"Position {position} {_VERBS[state].format(what)}."


def _thing(facts: ReceiverFacts, output: int, premises: Premises) -> str:
    """What people call what an output moves: its gate where it has one of its own, else output and receiver."""
    gates = premises.gates_moved_by(facts.name, output)
    if len(gates) == 1 and len(gates[0].outputs) == 1:
        return gates[0].title
    name = facts.outputs.get(output)
    place = f"{name} at {facts.name}" if name else f"output {output} of {facts.name}"
    return f"{gates[0].title} ({place})" if len(gates) == 1 else place


def _joined(parts: Collection[str]) -> str:
    *first, last = parts
    return f"{', '.join(first)} and {last}" if first else last
