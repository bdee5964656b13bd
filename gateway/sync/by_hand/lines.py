"""From a plan's changes to the things that a person does at the board, in the order of doing them, in words.

Pure. First the revoked transmitters, which work until they are taken out; then the others that go, which makes room;
then everybody whose rights change, one transmitter after the other; then the new ones, so that each transmitter is
taken into the hand once. What has no meaning at the board (a slot's number, a holder's new name) makes no line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change
from gateway.domain.receiver import Slot
from gateway.domain.transmitter import write_serial
from gateway.domain.visit_sheet import Gesture
from gateway.ports import ReceiverFacts
from gateway.sync.words import Person, joined

__all__ = ["Pairs", "Work", "pairs_of", "targets_by_serial", "works"]

Pairs = frozenset[tuple[int, int]]
"""Pairs of position number and output number."""


@dataclass(frozen=True, slots=True)
class Work:
    """One thing to do, before it has a number on a sheet."""

    gesture: Gesture
    serial: int
    position: int
    output: int
    holder: str
    words: str
    revoked: bool = False

    @property
    def work(self) -> tuple[Gesture, int, int, int]:
        """What is to be done, as a line of the sheet has it."""
        return (self.gesture, self.serial, self.position, self.output)


def pairs_of(mirror: Mirror, serial: int) -> Pairs:
    """What a transmitter works by the mirror; nothing when it is not there."""
    return frozenset(pair for slot in mirror.slots.values() if slot.serial == serial for pair in slot.pairs)


def targets_by_serial(changes: tuple[Change, ...]) -> dict[int, Pairs]:
    """What each transmitter that a plan touches works in the end."""
    found: dict[int, Pairs] = {}
    for change in changes:
        if change.before is not None:
            found.setdefault(change.before.serial, frozenset())
        if change.after is not None:
            found[change.after.serial] = change.after.pairs
    return found


def works(
    mirror: Mirror, changes: tuple[Change, ...], facts: ReceiverFacts, person: Callable[[Slot], Person]
) -> tuple[Work, ...]:
    """Everything to be done at the board for these changes, in the order of the work."""
    slots = _slots_by_serial(changes)
    revoked = {change.before.serial for change in changes if change.revoked and change.before is not None}
    people = {serial: person(slot) for serial, slot in slots.items()}
    phases: tuple[list[Work], ...] = ([], [], [], [])
    for serial, target in sorted(
        targets_by_serial(changes).items(), key=lambda item: (people[item[0]].holder, item[0])
    ):
        held, who = pairs_of(mirror, serial), people[serial]
        if held and not target:
            phases[0 if serial in revoked else 1].append(_removal(serial, held, who, facts, serial in revoked))
        elif held:
            phases[2].extend(_teaching(serial, held, target, who, facts))
        elif target:
            phases[3].extend(_teaching(serial, held, target, who, facts))
    return tuple(work for phase in phases for work in phase)


def _slots_by_serial(changes: tuple[Change, ...]) -> Mapping[int, Slot]:
    found: dict[int, Slot] = {}
    for change in changes:
        for slot in (change.before, change.after):
            if slot is not None:
                found[slot.serial] = slot
    return found


def _removal(serial: int, held: Pairs, who: Person, facts: ReceiverFacts, revoked: bool) -> Work:
    rights = joined([f"position {who.kind.label_of(p)} works {_output(o, facts)}" for p, o in sorted(held)])
    words = f"Take out {_transmitter(serial, who)}: {rights}."
    if revoked:
        words += " It is revoked, and works until this is done."
    return Work(Gesture.REMOVE, serial, 0, 0, who.holder, words, revoked)


def _teaching(serial: int, held: Pairs, target: Pairs, who: Person, facts: ReceiverFacts) -> Iterator[Work]:
    """First what it loses, then what it gains, each by output, as the board's buttons are arranged."""
    for gesture, pairs in ((Gesture.UNLEARN, held - target), (Gesture.LEARN, target - held)):
        for position, output in sorted(pairs, key=lambda pair: (pair[1], pair[0])):
            label = who.kind.label_of(position)
            words = f"O{_output(output, facts)[1:]}: {gesture} position {label} of {_transmitter(serial, who)}."
            yield Work(gesture, serial, position, output, who.holder, words)


def _transmitter(serial: int, who: Person) -> str:
    return f"transmitter {write_serial(serial)}" + (f" ({who.holder})" if who.holder else "")


def _output(number: int, facts: ReceiverFacts) -> str:
    name = facts.outputs.get(number, "")
    return f"output {number} ({name})" if name else f"output {number}"
