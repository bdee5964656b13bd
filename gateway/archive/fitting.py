"""From a snapshot to what a receiver shall hold: fitted to that receiver's limits, without what is revoked.

Pure. Whatever does not fit is left out and said, sentence by sentence; a memory with too few slots is refused as a
whole, for nobody could say who is to stay outside. The link password and the receiver's serial have no way through.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from typing import Literal

from gateway.archive.words import output_words, rights_words, who_words
from gateway.domain.mirror import Mirror
from gateway.domain.plan import SettingsTarget
from gateway.domain.receiver import Limits, Slot
from gateway.domain.snapshot import Snapshot
from gateway.domain.target import Target
from gateway.errors import Refused
from gateway.ports import Aim

__all__ = ["aim_at"]

Way = Literal["restore", "replace", "merge"]
FitName = Callable[[Limits, str], str]


def aim_at(snapshot: Snapshot, way: Way, *, settings: bool, fit_name: FitName, names: Mapping[int, str]) -> Aim:
    """The aim of a restore or clone. `names` are those of the receiver's outputs, for words.

    `restore` and `replace` make the memory hold the snapshot's slots and no others; slots keep their numbers as far as
    the receiver has them. `merge` adds what is missing and leaves everything else alone. The aim raises Refused with
    `receiver-full`.
    """

    def aim(mirror: Mirror, revoked: Collection[int]) -> Target:
        return _Fitting(snapshot, mirror, revoked, fit_name, names).target(way, settings=settings)

    return aim


class _Fitting:
    """One fitting; what has to be left out is collected on the way."""

    def __init__(
        self,
        snapshot: Snapshot,
        mirror: Mirror,
        revoked: Collection[int],
        fit_name: FitName,
        names: Mapping[int, str],
    ) -> None:
        self._snapshot = snapshot
        self._mirror = mirror
        self._limits = mirror.limits
        self._revoked = revoked
        self._fit_name = fit_name
        self._names = names
        self._same_map = snapshot.identity.map_name == mirror.identity.map_name
        self._left_out: list[str] = []

    def target(self, way: Way, *, settings: bool) -> Target:
        slots = [fitted for slot in self._snapshot.slots if (fitted := self._fitted(slot)) is not None]
        held = self._merged(slots) if way == "merge" else self._placed(slots, {})
        if not self._same_map and slots:
            self._left_out.append(
                "The snapshot is of another map: kinds, flags and the maker's own bytes are left out."
            )
        self._tell_short_names(slots)
        wanted = self._settings() if settings else None
        return Target(held, wanted, tuple(self._left_out))

    # --- slots ---

    def _fitted(self, slot: Slot) -> Slot | None:
        """The slot as this receiver can keep it, None when nothing of it can be there."""
        if slot.serial in self._revoked:
            self._left_out.append(f"{who_words(slot)} is revoked and stays out.")
            return None
        limits = self._limits
        groups = [frozenset(o for o in group if o <= limits.outputs) for group in slot.outputs[: limits.positions]]
        groups += [frozenset[int]()] * (limits.positions - len(groups))
        kept = replace(slot, outputs=tuple(groups))
        lost = slot.pairs - kept.pairs
        if not kept.pairs:
            self._left_out.append(f"{who_words(slot)} is left out: {self._mirror.receiver} has none of its rights.")
            return None
        for place, output in sorted(lost):
            self._left_out.append(
                f"{who_words(slot)}: {output_words(output, self._names)} on position {place} is left out, for "
                f"{self._mirror.receiver} has {limits.outputs} outputs and {limits.positions} positions."
            )
        if len(slot.name.encode()) > limits.name_bytes:
            kept = replace(kept, name=self._fit_name(limits, slot.name))
        return kept if self._same_map else replace(kept, kind=0, flags=0, opaque=b"")

    def _placed(self, slots: list[Slot], taken: Mapping[int, Slot]) -> dict[int, Slot]:
        """The slots at their own numbers where those are free here, else at the lowest free ones."""
        room = self._limits.slots - len(taken)
        if len(slots) > room:
            raise _full(self._mirror.receiver, room, len(slots), beside=len(taken))
        held = dict(taken)
        homeless = []
        for slot in slots:
            if slot.number in held or slot.number > self._limits.slots:
                homeless.append(slot)
            else:
                held[slot.number] = slot
        free = (number for number in range(1, self._limits.slots + 1) if number not in held)
        for slot, number in zip(homeless, list(free), strict=False):
            held[number] = replace(slot, number=number)
        return held

    def _merged(self, slots: list[Slot]) -> dict[int, Slot]:
        here: dict[int, list[Slot]] = {}
        for slot in self._mirror.slots.values():
            here.setdefault(slot.serial, []).append(slot)
        new: dict[int, Slot] = {}
        for slot in slots:
            known = here.get(slot.serial)
            if known is None:
                new.setdefault(slot.serial, slot)
            elif all(slot.pairs != one.pairs for one in known):
                self._left_out.append(
                    f"Conflict: {who_words(slot)} keeps what it has here ({rights_words(known[0], self._names)}); "
                    f"in the snapshot {rights_words(slot, self._names)}."
                )
        return self._placed(list(new.values()), self._mirror.slots)

    def _tell_short_names(self, slots: list[Slot]) -> None:
        names = {slot.serial: slot.name for slot in self._snapshot.slots}
        short = sum(1 for slot in slots if slot.name != names[slot.serial])
        if short:
            many = "1 name is" if short == 1 else f"{short} names are"
            self._left_out.append(f"{many} shortened to {self._limits.name_bytes} bytes.")

    # --- settings ---

    def _settings(self) -> SettingsTarget | None:
        wanted, now, limits = self._snapshot.settings, self._mirror.settings, self._limits
        if wanted is None or now is None:
            lacking = "The snapshot" if wanted is None else self._mirror.receiver
            self._left_out.append(f"{lacking} has no settings: none are set.")
            return None
        on_times_s: dict[int, int] = {}
        for output, seconds in enumerate(wanted.on_times_s, 1):
            if output > limits.outputs:
                self._left_out.append(
                    f"The on-time of {output_words(output, self._names)} is left out, for {self._mirror.receiver} has "
                    f"{limits.outputs} outputs."
                )
            elif not limits.on_time_min_s <= seconds <= limits.on_time_max_s:
                self._left_out.append(
                    f"The on-time of {output_words(output, self._names)} is left out: {seconds} s is outside of "
                    f"{limits.on_time_min_s} to {limits.on_time_max_s} s."
                )
            else:
                on_times_s[output] = seconds
        return SettingsTarget(on_times_s, wanted.local_programming)


def _full(receiver: str, room: int, wanted: int, *, beside: int) -> Refused:
    """`beside` is how many stay in it, as in a merge."""
    if beside:
        return Refused(
            f"{receiver} has room for {room} more transmitters, and {wanted} are wanted.",
            remedy="Take some out of it first, or choose a receiver with more slots.",
            code="receiver-full",
        )
    return Refused(
        f"{receiver} has {room} slots, and {wanted} transmitters are wanted.",
        remedy="Choose a receiver with more slots.",
        code="receiver-full",
    )
