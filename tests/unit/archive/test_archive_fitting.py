"""Fitting a snapshot to a receiver: what goes in, where it stands, what is left out and said."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Literal

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from gateway.archive.fitting import aim_at
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Limits, ReceiverSettings, Slot
from gateway.domain.snapshot import Snapshot
from gateway.domain.target import Target
from gateway.errors import Refused
from tests.fakes.receiver import some_identity, some_limits, some_slot
from tests.fakes.store_samples import MORNING

NAMES = {1: "gate", 2: "light"}
LIMITS = some_limits(slots=8, outputs=2)
SETTINGS = ReceiverSettings((5, 30), local_programming=False, password_set=True)


def a_snapshot(*slots: Slot, limits: Limits = LIMITS, settings: ReceiverSettings | None = SETTINGS) -> Snapshot:
    return Snapshot(
        "20260302T080000Z-001-slip-gate", "slip-gate", MORNING, True, "asked", some_identity(), limits, 7, slots, (),
        settings, None,
    )  # fmt: skip


def a_mirror(*slots: Slot, limits: Limits = LIMITS) -> Mirror:
    settings = ReceiverSettings((5,) * limits.outputs, local_programming=True, password_set=False)
    return Mirror("car-park", some_identity("FQ-9"), limits, 3, {slot.number: slot for slot in slots}, (), settings)


def fit(limits: Limits, name: str) -> str:
    return name.encode()[: limits.name_bytes].decode(errors="ignore")


def aimed(
    snapshot: Snapshot,
    mirror: Mirror,
    way: Literal["restore", "replace", "merge"] = "replace",
    *,
    revoked: Collection[int] = (),
    settings: bool = False,
) -> Target:
    return aim_at(snapshot, way, settings=settings, fit_name=fit, names=NAMES)(mirror, revoked)


def test_a_replacement_is_the_snapshot_and_nothing_else() -> None:
    """Numbers, flags and maker bytes stay; what the receiver holds besides is to go."""
    slots = (replace(some_slot(2, 11, name="Berth 1"), flags=3, opaque=b"\x01"), some_slot(8, 12))
    target = aimed(a_snapshot(*slots), a_mirror(some_slot(1, 99)))
    assert target.slots == {2: slots[0], 8: slots[1]}
    assert (target.left_out, target.settings) == ((), None)


def test_rights_that_can_not_be_there_are_left_out_and_said() -> None:
    """Fewer outputs, fewer positions: pair by pair; a transmitter without any left is out as a whole."""
    slots = (some_slot(1, 11, [(1, 1), (1, 4), (8, 2)], "Berth 1"), some_slot(2, 12, [(1, 3)]))
    small = replace(LIMITS, outputs=2, positions=4)
    target = aimed(a_snapshot(*slots, limits=some_limits(outputs=4)), a_mirror(limits=small))
    assert {n: slot.pairs for n, slot in target.slots.items()} == {1: {(1, 1)}}
    assert len(target.slots[1].outputs) == 4
    assert len(target.left_out) == 3
    assert target.left_out[0].startswith("Berth 1 (transmitter 0000000011): output 4 on position 1 is left out")
    assert target.left_out[2] == "transmitter 0000000012 is left out: car-park has none of its rights."


def test_slots_beyond_the_last_one_move_and_too_many_are_refused() -> None:
    """Eight into eight, whatever their numbers; nine are nobody's choice to make."""
    slots = tuple(some_slot(number, 100 + number) for number in (1, 3, 50, 60))
    target = aimed(a_snapshot(*slots, limits=some_limits(slots=64)), a_mirror())
    assert {number: slot.serial for number, slot in target.slots.items()} == {1: 101, 3: 103, 2: 150, 4: 160}
    many = tuple(some_slot(number, 100 + number) for number in range(1, 10))
    with pytest.raises(Refused) as refused:
        aimed(a_snapshot(*many, limits=some_limits(slots=64)), a_mirror())
    assert refused.value.code == "receiver-full"


def test_long_names_are_shortened_and_counted() -> None:
    """As the receiver itself would keep them."""
    slots = (some_slot(1, 11, name="Harbour office"), some_slot(2, 12, name="Berth 2"))
    target = aimed(a_snapshot(*slots), a_mirror(limits=replace(LIMITS, name_bytes=8)))
    assert [slot.name for slot in target.slots.values()] == ["Harbour ", "Berth 2"]
    assert target.left_out == ("1 name is shortened to 8 bytes.",)


def test_another_map_keeps_only_what_it_can_mean() -> None:
    """Codes of kinds, flags and the maker's bytes are the map's own."""
    slot = replace(some_slot(1, 11), flags=3, opaque=b"\x01")
    snapshot = replace(a_snapshot(slot), identity=replace(some_identity(), map_name="harbour"))
    target = aimed(snapshot, a_mirror())
    assert (target.slots[1].kind, target.slots[1].flags, target.slots[1].opaque) == (0, 0, b"")
    assert "another map" in target.left_out[0]


def test_a_merge_adds_what_is_missing_and_lists_conflicts() -> None:
    """Same rights: nothing; other rights: the receiver's stay; a number that is taken: the lowest free one."""
    here = (some_slot(1, 11), some_slot(2, 12, [(1, 1)]), some_slot(3, 90))
    slots = (some_slot(1, 13), some_slot(4, 11), some_slot(5, 12, [(1, 2)], "Berth 2"), some_slot(6, 14))
    target = aimed(a_snapshot(*slots), a_mirror(*here), "merge")
    assert {number: slot.serial for number, slot in target.slots.items()} == {1: 11, 2: 12, 3: 90, 4: 13, 6: 14}
    assert target.left_out == (
        "Conflict: Berth 2 (transmitter 0000000012) keeps what it has here (position 1 works output 1 (gate)); "
        "in the snapshot position 1 works output 2 (light).",
    )


def test_revoked_serials_take_no_room() -> None:
    """Nine of which one is revoked fit into eight slots."""
    many = tuple(some_slot(number, 100 + number) for number in range(1, 10))
    target = aimed(a_snapshot(*many, limits=some_limits(slots=64)), a_mirror(), revoked={104})
    assert len(target.slots) == 8
    assert target.left_out == ("transmitter 0000000104 is revoked and stays out.",)


def test_settings_within_the_limits_and_never_a_password() -> None:
    """An on-time that the receiver can't take, and one of an output that it lacks, are left out and said."""
    wanted = ReceiverSettings((5, 900, 8), local_programming=False, password_set=True)
    small = replace(LIMITS, on_time_max_s=600)
    target = aimed(a_snapshot(settings=wanted), a_mirror(limits=small), settings=True)
    assert target.settings is not None
    assert (dict(target.settings.on_times_s), target.settings.local_programming) == ({1: 5}, False)
    assert not hasattr(target.settings, "password_set")
    assert len(target.left_out) == 2
    assert aimed(a_snapshot(settings=None), a_mirror(), settings=True).left_out == (
        "The snapshot has no settings: none are set.",
    )


_MANY = st.dictionaries(
    st.integers(1, 30),
    st.tuples(
        st.integers(1, 40), st.frozensets(st.tuples(st.integers(1, 8), st.integers(1, 4)), min_size=1, max_size=4)
    ),
    max_size=12,
)


@given(_MANY, _MANY, st.frozensets(st.integers(1, 40), max_size=8), st.sampled_from(["replace", "merge"]))
def test_whatever_comes_out_fits(
    wanted: dict[int, tuple[int, frozenset[tuple[int, int]]]],
    held: dict[int, tuple[int, frozenset[tuple[int, int]]]],
    revoked: frozenset[int],
    way: Literal["replace", "merge"],
) -> None:
    """Every slot is within the limits and works something; nothing new is revoked; a merge takes nothing away."""
    limits = some_limits(slots=16, outputs=2)
    here = tuple(some_slot(n, s, [(1, 1)]) for n, (s, _) in held.items() if n <= 16)
    snapshot = a_snapshot(
        *(some_slot(n, s, pairs) for n, (s, pairs) in sorted(wanted.items())), limits=some_limits(slots=32, outputs=4)
    )
    mirror = a_mirror(*here, limits=limits)
    try:
        target = aimed(snapshot, mirror, way, revoked=revoked)
    except Refused:
        event("refused as a whole")
        return
    for number, slot in target.slots.items():
        assert (slot.number, 1 <= number <= 16, bool(slot.pairs)) == (number, True, True)
        assert all(output <= 2 for _, output in slot.pairs)
        assert slot.serial not in revoked or slot == mirror.slots.get(number)
    if way == "merge":
        assert {n: target.slots.get(n) for n in mirror.slots} == mirror.slots
