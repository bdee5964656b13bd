"""From what a receiver holds to what a snapshot wants there: the changes, in the order of writing.

Pure. Unlike a roster's plan it keeps every slot's number, flags and maker bytes. A slot that gets another transmitter
has a removal and an addition with the same number, and is written once, as in `planning`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from gateway.domain.matching import same_slot
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind
from gateway.domain.receiver import Slot
from gateway.ports import ReceiverFacts
from gateway.sync.words import Person, change_words

__all__ = ["restore_changes"]

Pairs = frozenset[tuple[int, int]]


def restore_changes(
    mirror: Mirror,
    goal: Mapping[int, Slot | None],
    facts: ReceiverFacts,
    *,
    holders: Mapping[int, str],
    revoked: Collection[int],
) -> tuple[Change, ...]:
    """What differs between the mirror and the goal; slots that the goal does not name stay as they are.

    A change counts towards the guard when its transmitter loses a pair of position and output in the whole memory: one
    that only moves to another slot loses nothing. A revoked one is taken out first and never counts.
    """
    return _Restore(mirror, goal, facts, holders, revoked).changes()


class _Restore:
    def __init__(
        self,
        mirror: Mirror,
        goal: Mapping[int, Slot | None],
        facts: ReceiverFacts,
        holders: Mapping[int, str],
        revoked: Collection[int],
    ) -> None:
        self._mirror = mirror
        self._goal = goal
        self._facts = facts
        self._holders = holders
        self._revoked = revoked
        self._after: dict[int, tuple[int, Pairs]] = {}
        for number, slot in sorted((dict(mirror.slots) | dict(goal)).items(), reverse=True):
            if slot is not None:
                _, pairs = self._after.get(slot.serial, (number, frozenset()))
                self._after[slot.serial] = (number, pairs | slot.pairs)

    def changes(self) -> tuple[Change, ...]:
        removed, changed, added = list[Change](), list[Change](), list[Change]()
        for number, after in sorted(self._goal.items()):
            before = self._mirror.slots.get(number)
            if same_slot(before, after):
                continue
            if before is not None and after is not None and before.serial == after.serial:
                words = change_words(before, after, self._facts, self._person(before))
                guarded = self._loses(before)
                changed.append(Change(ChangeKind.CHANGED, number, before, after, words, guarded=guarded))
                continue
            if before is not None:
                removed.append(self._removal(before))
            if after is not None:
                words = change_words(None, after, self._facts, self._person(after))
                added.append(Change(ChangeKind.ADDED, number, None, after, words))
        return (*(c for c in removed if c.revoked), *(c for c in removed if not c.revoked), *changed, *added)

    def _removal(self, before: Slot) -> Change:
        revoked = before.serial in self._revoked
        if revoked:
            why = "revoked"
        elif before.serial in self._after:
            why = f"it stands in slot {self._after[before.serial][0]} then"
        else:
            why = "the snapshot does not have it"
        words = change_words(before, None, self._facts, self._person(before), why)
        guarded = not revoked and self._loses(before)
        return Change(ChangeKind.REMOVED, before.number, before, None, words, revoked=revoked, guarded=guarded)

    def _loses(self, before: Slot) -> bool:
        _, kept = self._after.get(before.serial, (0, frozenset()))
        return bool(before.pairs - kept)

    def _person(self, slot: Slot) -> Person:
        return Person(self._holders.get(slot.serial, "") or slot.name or "a transmitter without a name")
