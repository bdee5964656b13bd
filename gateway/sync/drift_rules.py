"""What a receiver should hold, once what other hands did there has its say.

Pure. `desired` is what the roster alone wants; drift takes from it what was taken away at the board, adds what may
stay, and names the transmitters whose slots are left alone. A revocation comes before all of it (rule 5 of the design),
and so does a clock that decides nothing (rule 7). Once the roster has let a transmitter go that it had here, nothing
that was added to it stays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from gateway.domain.drift import Drift, DriftKind, DriftPolicy, Pairs, outputs_of, settled
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.transmitter import BUILT_IN_KINDS, write_serial
from gateway.sync.desired import Desired, Wanted

__all__ = ["DriftView", "left_of", "pairs_of", "slots_by_serial", "with_drift"]


@dataclass(frozen=True, slots=True)
class DriftView:
    """Drift at one receiver. `there_before` are transmitters that were in it before Gatepost ever wrote to it."""

    policy: DriftPolicy = DriftPolicy.REMOVE
    drifts: Sequence[Drift] = ()
    there_before: frozenset[int] = frozenset()


def with_drift(desired: Desired, mirror: Mirror, view: DriftView) -> Desired:
    """What is desired after drift; sentences about what stays as it is are among `left_out`."""
    held = slots_by_serial(mirror)
    wanted, kept, words = dict(desired.wanted), set(desired.kept), list(desired.left_out)
    for drift in sorted(view.drifts, key=lambda each: each.serial):
        serial = drift.serial
        if serial in desired.revoked or serial in desired.undecided:
            continue
        place, slots = wanted.get(serial), held.get(serial, [])
        left = left_of(drift, mirror, place)
        if left is None:
            continue
        if place is None:
            if left.is_foreign and slots and (pairs := left.holding(view.policy)):
                _leave(slots, pairs, mirror, wanted, kept)
                words.append(f"{_who(drift, slots)} was added by other hands; it stays.")
            continue
        changed = _changed(place, left, slots, mirror, view.policy)
        if changed is None:
            del wanted[serial]
        else:
            wanted[serial] = changed
        words += _sentences(place, left, view.policy)
    for serial, slots in held.items():
        if serial in view.there_before and _is_nobodys(serial, desired, wanted, kept, view):
            kept.add(serial)
            words += [
                f"slot {slot.number}: transmitter {write_serial(serial)} is not in the roster; it stays."
                for slot in slots
            ]
    return replace(desired, wanted=wanted, kept=frozenset(kept), left_out=tuple(words))


def left_of(drift: Drift, mirror: Mirror, place: Wanted | None) -> Drift | None:
    """What is left of it by this mirror; all of it while the mirror is older than the finding."""
    if mirror.revision < drift.revision:
        return drift
    slots = [slot for slot in mirror.slots.values() if slot.serial == drift.serial]
    return settled(drift, slots, None if place is None else pairs_of(place))


def pairs_of(place: Wanted) -> Pairs:
    """All pairs of position and output that the roster wants of a transmitter here."""
    return frozenset((number, output) for number, group in enumerate(place.outputs, 1) for output in group)


def slots_by_serial(mirror: Mirror) -> Mapping[int, list[Slot]]:
    """The slots of each transmitter, by rising number."""
    found: dict[int, list[Slot]] = {}
    for number in sorted(mirror.slots):
        found.setdefault(mirror.slots[number].serial, []).append(mirror.slots[number])
    return found


def _is_nobodys(serial: int, desired: Desired, wanted: Mapping[int, Wanted], kept: set[int], view: DriftView) -> bool:
    """Whether it was there before, and neither the roster nor anybody has said a word about it."""
    decided = serial in wanted or serial in kept or serial in desired.revoked or serial in desired.listed
    spoken_of = any(drift.serial == serial for drift in view.drifts)
    return view.policy is not DriftPolicy.REMOVE and not decided and not spoken_of


def _leave(slots: Sequence[Slot], pairs: Pairs, mirror: Mirror, wanted: dict[int, Wanted], kept: set[int]) -> None:
    """Leave a transmitter that the roster doesn't list alone, or with those of its rights that may stay."""
    there = frozenset(pair for slot in slots for pair in slot.pairs)
    if there <= pairs:
        kept.add(slots[0].serial)
        return
    slot = slots[0]
    outputs = _padded(pairs, mirror)
    wanted[slot.serial] = Wanted(slot.serial, slot.name, BUILT_IN_KINDS["any"], slot.kind, outputs, slot.name)


def _changed(place: Wanted, drift: Drift, slots: Sequence[Slot], mirror: Mirror, policy: DriftPolicy) -> Wanted | None:
    """The place without what was taken and with what stays; None when nothing of it may be there."""
    stands = drift.stands(policy)
    if stands and drift.kind is DriftKind.MISSING and drift.taken_pairs and not slots:
        return None
    taken = drift.taken_pairs if stands else frozenset()
    pairs = (pairs_of(place) - taken) | drift.holding(policy)
    if not pairs:
        return None
    if drift.holds_other(policy) and slots:
        place = replace(place, code=slots[0].kind, name=slots[0].name)
    return replace(place, outputs=_padded(pairs, mirror))


def _sentences(place: Wanted, drift: Drift, policy: DriftPolicy) -> list[str]:
    who = f"{place.holder}, transmitter {write_serial(place.serial)},"
    words = []
    if drift.taken_pairs and drift.stands(policy):
        words.append(
            f"{who} was taken away by other hands, in whole or in part; it is not given back until somebody says so: "
            f"gatepost drift restore {drift.receiver} {write_serial(drift.serial)}"
        )
    if drift.holding(policy) or drift.holds_other(policy):
        words.append(f"{who} was changed by other hands; that stays.")
    return words


def _who(drift: Drift, slots: Sequence[Slot]) -> str:
    name = f"{slots[0].name}, transmitter" if slots and slots[0].name else "transmitter"
    return f"slot {slots[0].number}: {name} {write_serial(drift.serial)}"


def _padded(pairs: Pairs, mirror: Mirror) -> tuple[frozenset[int], ...]:
    outputs = outputs_of(pairs)
    return outputs + (frozenset(),) * (mirror.limits.positions - len(outputs))
