"""The fewest changes from what a receiver holds to what it should hold."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.mirror import Mirror
from gateway.domain.plan import ChangeKind
from gateway.domain.receiver import Limits, Slot
from gateway.domain.transmitter import Kind
from gateway.errors import Refused
from gateway.sync.desired import Desired, Moment, Shape, Wanted, desired_slots
from gateway.sync.matching import same_memory
from gateway.sync.planning import Draft, plan_changes, targets
from tests.fakes.receiver import some_identity, some_limits, some_slot
from tests.fakes.sync_house import BERLIN, entry, facts, roster

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
FOUR = Kind("four-button", ("1", "2", "3", "4"))
SHAPE_SLOTS = 12


def limits(slots: int = SHAPE_SLOTS) -> Limits:
    return some_limits(slots=slots, outputs=3, block_slots=4)


def mirror(*slots: Slot, size: int = SHAPE_SLOTS) -> Mirror:
    return Mirror("slip-gate", some_identity(), limits(size), 7, {slot.number: slot for slot in slots})


def groups(pairs: set[tuple[int, int]]) -> tuple[frozenset[int], ...]:
    return tuple(frozenset(o for p, o in pairs if p == place) for place in range(1, 9))


def wanted(serial: int, pairs: set[tuple[int, int]] | None = None, name: str = "") -> Wanted:
    return Wanted(serial, f"Berth {serial}", FOUR, 4, groups(pairs or {(1, 1)}), name)


def desired(*places: Wanted, **other: frozenset[int]) -> Desired:
    return Desired(
        wanted={place.serial: place for place in places},
        listed=frozenset(place.serial for place in places) | other.get("listed", frozenset()),
        revoked=other.get("revoked", frozenset()),
        undecided=other.get("undecided", frozenset()),
        ended=dict.fromkeys(other.get("ended", frozenset()), "2026-02-28"),
    )


def after(held: Mirror, draft: Draft) -> dict[int, Slot]:
    merged = dict(held.slots) | targets(draft.changes)
    return {number: slot for number, slot in merged.items() if slot is not None}


def test_a_serial_keeps_its_slot_and_what_the_maker_put_there() -> None:
    """A change of rights keeps slot number, flags and opaque bytes."""
    old = Slot(5, 100, 4, groups({(1, 1)}), "", flags=3, opaque=b"\x07\x00")
    draft = plan_changes(mirror(old), desired(wanted(100, {(1, 1), (2, 2)})), facts())
    (change,) = draft.changes
    assert change.kind is ChangeKind.CHANGED
    assert change.after == Slot(5, 100, 4, groups({(1, 1), (2, 2)}), "", flags=3, opaque=b"\x07\x00")


def test_nothing_to_do_is_an_empty_plan() -> None:
    """What is already as wanted is counted and not touched."""
    draft = plan_changes(mirror(some_slot(1, 100), some_slot(2, 101)), desired(wanted(100), wanted(101)), facts())
    assert (draft.changes, draft.unchanged) == ((), 2)


def test_additions_take_the_lowest_free_slots() -> None:
    """Gaps are filled from below."""
    draft = plan_changes(
        mirror(some_slot(2, 100)), desired(wanted(100), wanted(101), wanted(102), wanted(103)), facts()
    )
    assert [(c.slot, c.after.serial) for c in draft.changes if c.after] == [(1, 101), (3, 102), (4, 103)]


def test_who_comes_takes_the_place_of_who_goes_in_one_write() -> None:
    """A removal and an addition share a slot, which is then written once with the newcomer."""
    draft = plan_changes(mirror(some_slot(2, 100), some_slot(3, 101)), desired(wanted(101), wanted(102)), facts())
    assert [(c.kind, c.slot) for c in draft.changes] == [(ChangeKind.REMOVED, 2), (ChangeKind.ADDED, 2)]
    held = targets(draft.changes)
    assert {number: slot.serial for number, slot in held.items() if slot} == {2: 102}


def test_the_order_is_revocations_removals_changes_additions() -> None:
    """Each part goes by rising slot number."""
    held = mirror(*(some_slot(number, 100 + number) for number in range(1, 7)))
    draft = plan_changes(
        held,
        desired(
            wanted(102, {(2, 2)}),
            wanted(104),
            wanted(105, {(2, 2)}),
            wanted(200),
            revoked=frozenset({106, 101}),
        ),
        facts(),
    )
    order = [(c.revoked, c.kind.value, c.slot) for c in draft.changes]
    assert order == [
        (True, "removed", 1),
        (True, "removed", 6),
        (False, "removed", 3),
        (False, "changed", 2),
        (False, "changed", 5),
        (False, "added", 1),
    ]


def test_of_a_serial_that_stands_twice_the_fitting_slot_stays() -> None:
    """The double goes; no slot is written that is already right."""
    draft = plan_changes(
        mirror(some_slot(1, 100, {(3, 3)}), some_slot(4, 100, {(1, 1)})), desired(wanted(100)), facts()
    )
    assert [(c.kind, c.slot) for c in draft.changes] == [(ChangeKind.REMOVED, 1)]
    assert "stands twice" in draft.changes[0].words


def test_slots_that_the_roster_does_not_know_are_removed_guarded_or_reported() -> None:
    """One argument decides; reported slots stay and are said."""
    held = mirror(some_slot(1, 100), some_slot(2, 999))
    removed = plan_changes(held, desired(wanted(100)), facts())
    assert [(c.slot, c.guarded) for c in removed.changes] == [(2, True)]
    reported = plan_changes(held, desired(wanted(100)), facts(), unknown="report")
    assert reported.changes == ()
    assert reported.left_out == ("slot 2: transmitter 0000000999 is not in the roster; it stays.",)


def test_endings_and_revocations_are_not_guarded() -> None:
    """Only removals and losses that a new file brings count."""
    held = mirror(some_slot(1, 100), some_slot(2, 101), some_slot(3, 102))
    draft = plan_changes(
        held, desired(revoked=frozenset({100}), ended=frozenset({101}), listed=frozenset({102})), facts()
    )
    assert {c.slot: c.guarded for c in draft.changes} == {1: False, 2: False, 3: True}


def test_what_is_undecided_stays_as_the_memory_has_it() -> None:
    """Without a trusted clock a row with dates is neither granted nor ended nor changed."""
    held = mirror(some_slot(1, 100, {(2, 2)}))
    draft = plan_changes(held, desired(undecided=frozenset({100, 101}), listed=frozenset({100, 101})), facts())
    assert (draft.changes, draft.unchanged) == ((), 1)


def test_a_position_moved_counts_as_a_loss() -> None:
    """The output still opens, by another button; for its holder the old button is lost."""
    draft = plan_changes(mirror(some_slot(1, 100, {(1, 1)})), desired(wanted(100, {(2, 1)})), facts())
    assert [c.guarded for c in draft.changes] == [True]


def test_more_than_the_slots_is_refused_with_how_many_too_many() -> None:
    """1025 transmitters on 1024 slots."""
    shape = Shape(limits(1024), lambda kind: len(kind.positions), lambda lim, name: name)
    moment = Moment(NOW, BERLIN, trusted=True)
    many = roster(*(entry(serial) for serial in range(1, 1026)))
    want = desired_slots(many, facts(), shape, moment, site="fennel-quay", revoked=())
    with pytest.raises(Refused, match="1 transmitter too many") as refused:
        plan_changes(mirror(size=1024), want, facts())
    assert refused.value.code == "receiver-full"


def test_a_full_memory_still_lets_people_change_places() -> None:
    """Full before, full after: each newcomer takes a leaver's slot."""
    held = mirror(*(some_slot(number, number) for number in range(1, 13)))
    draft = plan_changes(held, desired(*(wanted(serial) for serial in range(6, 18))), facts())
    assert {slot.serial for slot in after(held, draft).values()} == set(range(6, 18))
    assert len(targets(draft.changes)) == 5


serials = st.integers(1, 20)
pair_sets = st.sets(st.tuples(st.integers(1, 8), st.integers(1, 3)), min_size=1, max_size=4)


@st.composite
def memories(draw: st.DrawFn) -> Mirror:
    numbers = draw(st.sets(st.integers(1, SHAPE_SLOTS)))
    return mirror(*(some_slot(n, draw(serials), draw(pair_sets), draw(st.sampled_from(["", "A"]))) for n in numbers))


@st.composite
def wishes(draw: st.DrawFn) -> Desired:
    places: Mapping[int, set[tuple[int, int]]] = draw(st.dictionaries(serials, pair_sets, max_size=SHAPE_SLOTS))
    rest = st.sets(serials, max_size=3).map(lambda found: frozenset(found - places.keys()))
    return desired(*(wanted(s, p, "A") for s, p in places.items()), revoked=draw(rest), ended=draw(rest))


@given(memories(), wishes())
def test_afterwards_the_memory_is_what_was_wanted(held: Mirror, want: Desired) -> None:
    """Any memory, any wish: equal in the end, nothing left to do, no slot touched that was right."""
    draft = plan_changes(held, want, facts())
    end = after(held, draft)
    assert {slot.serial: (slot.pairs, slot.name) for slot in end.values()} == {
        place.serial: (frozenset((p, o) for p, g in enumerate(place.outputs, 1) for o in g), place.name)
        for place in want.wanted.values()
    }
    assert len(end) == len(want.wanted)
    again = plan_changes(mirror(*end.values()), want, facts())
    assert (again.changes, again.unchanged) == ((), len(end))
    for number, slot in targets(draft.changes).items():
        assert slot != held.slots.get(number)


@given(memories(), wishes())
def test_a_plan_is_as_short_as_it_can_be(held: Mirror, want: Desired) -> None:
    """Lower bound: every slot that must go or change, or every newcomer, whichever asks for more places."""
    right = {
        slot.serial
        for slot in held.slots.values()
        if slot.serial in want.wanted and same_memory({1: slot}, {1: _as_wanted(slot, want)})
    }
    comers = [serial for serial in want.wanted if serial not in {slot.serial for slot in held.slots.values()}]
    stays = {slot.serial for slot in held.slots.values()} & want.wanted.keys()
    changed = len(stays - right)
    goers = len(held.slots) - len(stays)
    assert len(targets(plan_changes(held, want, facts()).changes)) == changed + max(goers, len(comers))


@given(memories(), wishes())
def test_the_same_question_has_the_same_answer(held: Mirror, want: Desired) -> None:
    """Deterministic, whatever the order in which the memory's slots are told."""
    turned = Mirror(held.receiver, held.identity, held.limits, held.revision, dict(reversed(list(held.slots.items()))))
    assert plan_changes(held, want, facts()) == plan_changes(turned, want, facts())


@given(memories(), wishes())
def test_what_may_go_ahead_alone_takes_nothing_from_anybody(held: Mirror, want: Desired) -> None:
    """Without the guarded part nobody but the revoked and ended loses a pair."""
    end = after(held, plan_changes(held, want, facts(), without_guarded=True))
    for number, slot in held.slots.items():
        if slot.serial not in want.revoked and slot.serial not in want.ended:
            assert number in end
            assert end[number].serial == slot.serial
            assert end[number].pairs >= slot.pairs


def _as_wanted(slot: Slot, want: Desired) -> Slot:
    place = want.wanted[slot.serial]
    return Slot(slot.number, slot.serial, place.code, place.outputs, place.name, slot.flags, slot.opaque)
