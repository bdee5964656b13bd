"""Drift: what a receiver holds of one transmitter that neither the roster nor Gatepost put there.

Pure. One `Drift` is kept for each receiver and serial from the day it is found until nothing of it is left. It tells
apart what was *given* by a foreign hand, what was *taken* away, and what somebody has since said about it. Rule 11 of
the design: what was taken away at the board is never given back by itself; so `taken` outlives any roster.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from gateway.domain.receiver import Origin, Slot

__all__ = [
    "Decision",
    "Drift",
    "DriftItem",
    "DriftKind",
    "DriftPolicy",
    "DriftState",
    "Pairs",
    "found",
    "outputs_of",
    "settled",
]

Pairs = frozenset[tuple[int, int]]
"""Pairs of position number and output number."""


class DriftKind(StrEnum):
    """How the receiver departs from what was put there, for one transmitter."""

    EXTRA = "extra"  # a transmitter that was not there
    MISSING = "missing"  # one that was there and is gone
    CHANGED = "changed"  # other rights, another name or kind


class DriftPolicy(StrEnum):
    """What the settings say about drift that nobody has decided about."""

    REPORT = "report"  # shown; nothing of it is written
    REMOVE = "remove"  # what was added is taken out, what was changed is put back
    ADOPT = "adopt"  # it stays and counts as wanted until the roster has it


class Decision(StrEnum):
    """What a person can say about one drift."""

    ADOPT = "adopt"  # what was added stays
    REMOVE = "remove"  # what was added or changed goes
    RESTORE = "restore"  # what was taken away comes back
    REVOKE = "revoke"  # the transmitter must not work anywhere


class DriftState(StrEnum):
    """How one drift stands."""

    OPEN = "open"  # nobody has decided; it stays as it is
    GOING = "going"  # the next plan puts it right
    ADOPTED = "adopted"  # it stays, and is still to be entered in the roster
    STANDS = "stands"  # taken away at the board; stays away until a person says otherwise


@dataclass(frozen=True, slots=True)
class Drift:
    """One transmitter at one receiver. `before` is what was ours, `after` what was found; both as one slot.

    `given`, `kept` and `taken` are outputs by position, number 1 first: added and undecided; added and adopted;
    taken away. `other` says that name, kind or flags were changed too, `kept_other` that this was adopted. `doomed`
    says that a person wants what was added to go. `origin` is who did it (None: not known), `decided_by` who decided
    last. `revision` is the receiver's when it was found: a mirror that is older says nothing about it.
    """

    receiver: str
    serial: int
    kind: DriftKind
    since: datetime
    origin: Origin | None
    before: Slot | None
    after: Slot | None
    given: tuple[frozenset[int], ...] = ()
    kept: tuple[frozenset[int], ...] = ()
    taken: tuple[frozenset[int], ...] = ()
    other: bool = False
    kept_other: bool = False
    doomed: bool = False
    decided_by: str = ""
    revision: int = 0

    @property
    def key(self) -> tuple[str, int]:
        """Receiver and serial, which name it."""
        return self.receiver, self.serial

    @property
    def given_pairs(self) -> Pairs:
        return _pairs(self.given)

    @property
    def kept_pairs(self) -> Pairs:
        return _pairs(self.kept)

    @property
    def taken_pairs(self) -> Pairs:
        return _pairs(self.taken)

    @property
    def is_foreign(self) -> bool:
        """True when Gatepost never put this transmitter there."""
        return self.before is None

    @property
    def is_empty(self) -> bool:
        """True when nothing of it is left."""
        return not (self.given_pairs or self.kept_pairs or self.taken_pairs or self.other)

    def stands(self, policy: DriftPolicy) -> bool:
        """Whether what was taken stays away. What another tool took over the line may be put back by the settings."""
        return self.origin is not Origin.LINE or policy is not DriftPolicy.REMOVE

    def holding(self, policy: DriftPolicy) -> Pairs:
        """The added pairs that no plan may take out."""
        if self.doomed:
            return frozenset()
        return self.kept_pairs if policy is DriftPolicy.REMOVE else self.kept_pairs | self.given_pairs

    def holds_other(self, policy: DriftPolicy) -> bool:
        """Whether a changed name or kind stays as it was found."""
        return self.other and not self.doomed and (self.kept_other or policy is not DriftPolicy.REMOVE)

    def adopted(self, by: str) -> Drift:
        """What was added or changed stays from now on."""
        kept = outputs_of(self.kept_pairs | self.given_pairs)
        return replace(self, given=(), kept=kept, kept_other=self.other, doomed=False, decided_by=by)

    def condemned(self, by: str) -> Drift:
        """What was added or changed goes with the next plan."""
        given = outputs_of(self.kept_pairs | self.given_pairs)
        return replace(self, given=given, kept=(), kept_other=False, doomed=True, decided_by=by)

    def given_back(self, by: str) -> Drift:
        """What was taken may come back."""
        return replace(self, taken=(), decided_by=by)


@dataclass(frozen=True, slots=True)
class DriftItem:
    """One drift as people see it. `gained` and `lost` are rights in words; `todo` is what a person still has to do.

    `rights` is what a roster's row would say for what the receiver holds now. `next_step` says what becomes of it by
    itself. `since` is None for what was there before Gatepost.
    """

    receiver: str
    serial: int
    holder: str
    kind: DriftKind
    state: DriftState
    origin: Origin | None
    since: datetime | None
    words: str
    next_step: str
    gained: tuple[str, ...]
    lost: tuple[str, ...]
    todo: str
    rights: str
    decisions: tuple[Decision, ...]
    decided_by: str = ""


def found(
    receiver: str,
    serial: int,
    before: Collection[Slot],
    after: Collection[Slot],
    *,
    known: Drift | None,
    origin: Origin | None,
    now: datetime,
    revision: int = 0,
) -> Drift | None:
    """What a foreign change from `before` to `after` (the slots of this serial) makes of what was known.

    None when nothing is left: the change has undone what was known, or moved a transmitter to another slot.
    """
    old, new = _union(before), _union(after)
    gained, lost = new - old, old - new
    given, kept, taken = _parts(known)
    theirs = given | kept
    baseline = known.before if known else _one(before)
    now_there = _one(after)
    drift = Drift(
        receiver=receiver,
        serial=serial,
        kind=_kind(baseline, now_there),
        since=known.since if known else now,
        origin=_origin(known, origin),
        before=baseline,
        after=now_there,
        given=outputs_of((given - lost) | (gained - taken - kept)),
        kept=outputs_of(kept - lost),
        taken=outputs_of((taken - gained) | (lost - theirs)),
        other=_is_other(baseline, now_there),
        kept_other=bool(known and known.kept_other),
        doomed=bool(known and known.doomed and not gained),
        decided_by=known.decided_by if known else "",
        revision=revision,
    )
    return None if drift.is_empty else drift


def settled(drift: Drift, held: Collection[Slot], wanted: Pairs | None) -> Drift | None:
    """What is left of it now that the memory holds these slots of the serial; None when nothing is.

    `wanted` are the pairs that the roster gives it here, None when the roster doesn't list it. What the roster
    has come to want is no drift any more; what was taken stays, whatever the roster wants.
    """
    there = _union(held)
    listed = wanted or frozenset()
    given = (drift.given_pairs & there) - listed
    kept = (drift.kept_pairs & there) - listed
    if wanted is not None and drift.is_foreign:
        given, kept = frozenset(), frozenset()
    now_there = _one(held)
    is_as_found = drift.after is not None and now_there is not None and _essence(drift.after) == _essence(now_there)
    left = replace(
        drift,
        kind=_kind(drift.before, now_there),
        given=outputs_of(given),
        kept=outputs_of(kept),
        taken=outputs_of(drift.taken_pairs - there),
        other=drift.other and is_as_found,
    )
    return None if left.is_empty else left


def outputs_of(pairs: Iterable[tuple[int, int]]) -> tuple[frozenset[int], ...]:
    """Outputs by position, as long as the highest position; empty for no pairs."""
    found = list(pairs)
    places = max((place for place, _ in found), default=0)
    return tuple(frozenset(o for p, o in found if p == place) for place in range(1, places + 1))


def _pairs(outputs: tuple[frozenset[int], ...]) -> Pairs:
    return frozenset((place, output) for place, group in enumerate(outputs, 1) for output in group)


def _union(slots: Iterable[Slot]) -> Pairs:
    return frozenset(pair for slot in slots for pair in slot.pairs)


def _one(slots: Collection[Slot]) -> Slot | None:
    """Several slots of one serial as one: the lowest, with the rights of all."""
    if not slots:
        return None
    lowest = min(slots, key=lambda slot: slot.number)
    return lowest if len(slots) == 1 else replace(lowest, outputs=outputs_of(_union(slots)))


def _parts(known: Drift | None) -> tuple[Pairs, Pairs, Pairs]:
    if known is None:
        return frozenset(), frozenset(), frozenset()
    return known.given_pairs, known.kept_pairs, known.taken_pairs


def _origin(known: Drift | None, origin: Origin | None) -> Origin | None:
    """Something taken at the board stays so, whatever a tool on the line does to the same transmitter later."""
    return known.origin if known is not None and known.taken_pairs and known.origin is not Origin.LINE else origin


def _kind(before: Slot | None, after: Slot | None) -> DriftKind:
    if before is None:
        return DriftKind.EXTRA
    return DriftKind.MISSING if after is None else DriftKind.CHANGED


def _is_other(before: Slot | None, after: Slot | None) -> bool:
    return before is not None and after is not None and _essence(before) != _essence(after)


def _essence(slot: Slot) -> tuple[object, ...]:
    """All of a slot but its number and its rights."""
    return (slot.kind, slot.name, slot.flags, slot.opaque.rstrip(b"\0"))
