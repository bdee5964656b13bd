"""From what the receiver holds and what it should hold to the ordered list of changes.

Pure and deterministic. Rule 3 of the design: the receiver's memory wears, so a serial keeps its slot, a slot is
written at most once, and nothing is touched that does not differ. A transmitter that comes takes the place of one
that goes (one write instead of two) before it takes the lowest free slot. Such a slot has two changes with the same
number, a removal and an addition, and is written once with what it holds in the end.

Order: revocations, removals, changes, additions; each by rising slot number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind
from gateway.domain.receiver import Slot
from gateway.domain.transmitter import write_serial
from gateway.errors import Refused
from gateway.ports import ReceiverFacts
from gateway.sync.desired import Desired, Wanted
from gateway.sync.matching import same_slot
from gateway.sync.words import Person, change_words

__all__ = ["Draft", "Unknown", "plan_changes", "targets"]

Unknown = Literal["remove", "report"]
"""What happens to slots of transmitters that the roster doesn't list."""


@dataclass(frozen=True, slots=True)
class Draft:
    """Changes in the order of writing, how many slots stay as they are, and what is left out, in words."""

    changes: tuple[Change, ...]
    unchanged: int
    left_out: tuple[str, ...]


def plan_changes(
    mirror: Mirror,
    desired: Desired,
    facts: ReceiverFacts,
    *,
    unknown: Unknown = "remove",
    without_guarded: bool = False,
) -> Draft:
    """The fewest changes from the mirror to what is desired.

    With `without_guarded` everything that the guard counts stays as it is, and what may go ahead alone is left.
    Raises Refused with `receiver-full` when more is wanted than there are slots.
    """
    return _Planner(mirror, desired, facts, unknown, without_guarded).draft()


def targets(changes: tuple[Change, ...]) -> dict[int, Slot | None]:
    """What each touched slot holds in the end, in the order in which the slots are to be written."""
    held: dict[int, Slot | None] = {}
    for change in changes:
        held[change.slot] = change.after
    return held


class _Planner:
    """One planning; the lists grow while the memory's slots are gone through once."""

    def __init__(
        self, mirror: Mirror, desired: Desired, facts: ReceiverFacts, unknown: Unknown, without_guarded: bool
    ) -> None:
        self._mirror = mirror
        self._desired = desired
        self._facts = facts
        self._unknown = unknown
        self._without_guarded = without_guarded
        self._revoked: list[Change] = []
        self._removed: list[Change] = []
        self._changed: list[Change] = []
        self._unchanged = 0
        self._left_out = list(desired.left_out)

    def draft(self) -> Draft:
        placed: set[int] = set()
        for serial, slots in self._slots_by_serial():
            if self._keep_or_remove(serial, slots):
                placed.add(serial)
        added = self._additions([w for serial, w in self._desired.wanted.items() if serial not in placed])
        parts = (self._revoked, self._removed, self._changed, added)
        changes = tuple(c for part in parts for c in sorted(part, key=lambda change: change.slot))
        return Draft(changes, self._unchanged, tuple(self._left_out))

    def _slots_by_serial(self) -> Iterator[tuple[int, list[Slot]]]:
        found: dict[int, list[Slot]] = {}
        for number in sorted(self._mirror.slots):
            slot = self._mirror.slots[number]
            found.setdefault(slot.serial, []).append(slot)
        yield from found.items()

    def _keep_or_remove(self, serial: int, slots: list[Slot]) -> bool:
        """Decide on all slots of one serial; True when it has its wanted place."""
        desired = self._desired
        if serial in desired.revoked:
            for slot in slots:
                self._remove(slot, "revoked", revoked=True, guarded=False)
        elif serial in desired.undecided or serial in desired.kept:
            self._unchanged += len(slots)
        elif serial in desired.wanted:
            self._bring(slots, desired.wanted[serial])
            return True
        elif serial in desired.ended:
            for slot in slots:
                self._remove(slot, f"ended on {desired.ended[serial]}", guarded=False)
        elif serial not in desired.listed and self._unknown == "report":
            self._unchanged += len(slots)
            self._left_out += [f"slot {s.number}: transmitter {write_serial(serial)} is not in the roster; it stays."
                               for s in slots]  # fmt: skip
        else:
            why = "the roster gives it nothing here" if serial in desired.listed else "not in the roster"
            for slot in slots:
                self._remove(slot, why)
        return False

    def _bring(self, slots: list[Slot], wanted: Wanted) -> None:
        """One slot of the serial gets what is wanted; the others are its doubles and go."""
        kept = next((slot for slot in slots if same_slot(slot, _filled(slot, wanted))), slots[0])
        for slot in slots:
            if slot is not kept:
                self._remove(slot, f"it stands twice; slot {kept.number} stays")
        after = _filled(kept, wanted)
        # Guarded by pair: a position that no longer works an output is a loss for its holder even when another does.
        guarded = bool(kept.pairs - after.pairs)
        if same_slot(kept, after) or (guarded and self._without_guarded):
            self._unchanged += 1
            return
        words = change_words(kept, after, self._facts, self._person(wanted.serial))
        self._changed.append(Change(ChangeKind.CHANGED, kept.number, kept, after, words, guarded=guarded))

    def _remove(self, slot: Slot, why: str, *, revoked: bool = False, guarded: bool = True) -> None:
        if guarded and self._without_guarded:
            self._unchanged += 1
            return
        words = change_words(slot, None, self._facts, self._person(slot.serial), why)
        change = Change(ChangeKind.REMOVED, slot.number, slot, None, words, revoked=revoked, guarded=guarded)
        (self._revoked if revoked else self._removed).append(change)

    def _additions(self, wanted: list[Wanted]) -> list[Change]:
        freed = sorted(change.slot for change in (*self._revoked, *self._removed))
        free = [number for number in range(1, self._mirror.limits.slots + 1) if number not in self._mirror.slots]
        places = freed + free
        if (missing := len(wanted) - len(places)) > 0:
            if self._without_guarded:
                return []
            raise _full(self._mirror, missing)
        return [self._add(number, place) for number, place in zip(places, wanted, strict=False)]

    def _add(self, number: int, wanted: Wanted) -> Change:
        after = Slot(number, wanted.serial, wanted.code, wanted.outputs, wanted.name)
        words = change_words(None, after, self._facts, self._person(wanted.serial))
        return Change(ChangeKind.ADDED, number, None, after, words)

    def _person(self, serial: int) -> Person:
        wanted = self._desired.wanted.get(serial)
        return Person(wanted.holder, wanted.kind) if wanted else Person(self._desired.holders.get(serial, ""))


def _filled(slot: Slot, wanted: Wanted) -> Slot:
    """The slot with what is wanted; flags and the maker's bytes stay, and so does a kind that nobody states."""
    return replace(slot, kind=wanted.code or slot.kind, outputs=wanted.outputs, name=wanted.name)


def _full(mirror: Mirror, missing: int) -> Refused:
    many = "1 transmitter" if missing == 1 else f"{missing} transmitters"
    return Refused(
        f"{mirror.receiver} is full: it has {mirror.limits.slots} slots, and the roster wants {many} too many.",
        remedy=f"Take {many} off this receiver in the roster, or free slots that the roster doesn't know.",
        code="receiver-full",
    )
