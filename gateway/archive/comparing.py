"""Comparing what two snapshots hold, or a snapshot and a receiver's mirror.

Pure. Slots are matched by transmitter: one that stands in another slot is one change, not a loss and a gain. Settings
count as differences; output modes, limits, identity and the link password are told and don't: no restore can set them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest

from gateway.archive.words import joined, limits_words, output_words, rights_words, who_words
from gateway.domain.matching import same_slot
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Identity, Limits, OutputMode, ReceiverSettings, Slot
from gateway.domain.snapshot import Snapshot
from gateway.ports import Comparison, SlotDifference

__all__ = ["Side", "compare", "settings_words", "side_of_mirror", "side_of_snapshot"]


@dataclass(frozen=True, slots=True)
class Side:
    """One of the two. `label` is how sentences call it."""

    label: str
    identity: Identity
    limits: Limits
    slots: tuple[Slot, ...]
    settings: ReceiverSettings | None
    modes: tuple[OutputMode, ...] | None = field(default=None)


def side_of_snapshot(snapshot: Snapshot) -> Side:
    """A snapshot, called by its id."""
    return Side(
        f"snapshot {snapshot.id}",
        snapshot.identity,
        snapshot.limits,
        snapshot.slots,
        snapshot.settings,
        snapshot.output_modes,
    )


def side_of_mirror(mirror: Mirror, modes: tuple[OutputMode, ...] | None) -> Side:
    """What a receiver holds as far as is known, with the modes of its last poll."""
    slots = tuple(mirror.slots[number] for number in sorted(mirror.slots))
    return Side(mirror.receiver, mirror.identity, mirror.limits, slots, mirror.settings, modes)


def compare(left: Side, right: Side, names: Mapping[int, str]) -> Comparison:
    """What the right side has otherwise. `names` are those of the outputs, for words."""
    return Comparison(
        left=left.label,
        right=right.label,
        slots=tuple(sorted(_slots(left, right, names), key=_place)),
        settings=settings_words(left.settings, right.settings, names),
        modes=tuple(_modes(left.modes, right.modes, names)),
        limits=limits_words(left.limits, right.limits, left.label, right.label),
        notes=tuple(_notes(left, right)),
    )


def settings_words(
    before: ReceiverSettings | None, after: ReceiverSettings | None, names: Mapping[int, str]
) -> tuple[str, ...]:
    """Every setting that both have and that differs."""
    if before is None or after is None:
        return ()
    found = [
        f"{output_words(number, names)} stays closed for {now} s instead of {was} s."
        for number, (was, now) in enumerate(zip(before.on_times_s, after.on_times_s, strict=False), 1)
        if was != now
    ]
    if before.local_programming != after.local_programming:
        words = ("locked", "allowed")
        was, now = words[before.local_programming], words[after.local_programming]
        found.append(f"local programming at the board is {now} instead of {was}.")
    return tuple(found)


def _place(difference: SlotDifference) -> tuple[int, int]:
    slot = difference.after or difference.before
    return (slot.number if slot else 0, difference.serial)


def _by_serial(slots: Iterable[Slot]) -> dict[int, list[Slot]]:
    found: defaultdict[int, list[Slot]] = defaultdict(list)
    for slot in slots:
        found[slot.serial].append(slot)
    return found


def _slots(left: Side, right: Side, names: Mapping[int, str]) -> Iterator[SlotDifference]:
    before, after = _by_serial(left.slots), _by_serial(right.slots)
    for serial in before.keys() | after.keys():
        for was, now in _pairs(before.get(serial, []), after.get(serial, [])):
            if was is None and now is not None:
                words = f"slot {now.number}: {who_words(now)} is only in {right.label}: {rights_words(now, names)}."
                yield SlotDifference("added", serial, None, now, words)
            elif was is not None and now is None:
                words = f"slot {was.number}: {who_words(was)} is missing in {right.label}: {rights_words(was, names)}."
                yield SlotDifference("missing", serial, was, None, words)
            elif was is not None and now is not None and not same_slot(was, now):
                words = f"slot {now.number}: {who_words(now)} {joined(_changes(was, now, names))}."
                yield SlotDifference("changed", serial, was, now, words)


def _pairs(before: list[Slot], after: list[Slot]) -> Iterator[tuple[Slot | None, Slot | None]]:
    """Slots of one transmitter side by side: first those of the same number, then the rest in order."""
    here = {slot.number: slot for slot in after}
    same = [slot for slot in before if slot.number in here]
    yield from ((slot, here.pop(slot.number)) for slot in same)
    yield from zip_longest([slot for slot in before if slot not in same], here.values())


def _changes(was: Slot, now: Slot, names: Mapping[int, str]) -> list[str]:
    found = [f"stands here instead of in slot {was.number}"] if was.number != now.number else []
    if was.pairs != now.pairs:
        found.append(f"has other rights ({rights_words(now, names)}; before: {rights_words(was, names)})")
    if was.name != now.name:
        found.append(f"is called {now.name!r} instead of {was.name!r}")
    if was.kind != now.kind:
        found.append(f"is of kind {now.kind} instead of {was.kind}")
    if was.flags != now.flags:
        found.append(f"has the flags {now.flags} instead of {was.flags}")
    if was.opaque.rstrip(b"\0") != now.opaque.rstrip(b"\0"):
        found.append("has other bytes of the maker's own")
    return found


def _modes(
    before: tuple[OutputMode, ...] | None, after: tuple[OutputMode, ...] | None, names: Mapping[int, str]
) -> Iterator[str]:
    for number, (was, now) in enumerate(zip(before or (), after or (), strict=False), 1):
        if was is not now:
            yield f"{output_words(number, names)} is {now.value} instead of {was.value}; that is set at the board."


def _notes(left: Side, right: Side) -> Iterator[str]:
    if left.identity.serial != right.identity.serial:
        yield (
            f"{left.label} is of the receiver {left.identity.serial}, {right.label} of {right.identity.serial}: "
            "not the same one."
        )
    if left.identity.map_name != right.identity.map_name:
        yield f"Their maps differ: {left.identity.map_name} and {right.identity.map_name}."
    if left.settings and right.settings and left.settings.password_set != right.settings.password_set:
        having = left.label if left.settings.password_set else right.label
        yield f"Only {having} has a link password. No snapshot holds it; set it by hand."
