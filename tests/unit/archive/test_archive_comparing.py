"""Comparing: what is a difference, what is only told, and in which words."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from gateway.archive.comparing import Side, compare
from gateway.domain.receiver import OutputMode, ReceiverSettings, Slot
from tests.fakes.receiver import some_identity, some_limits, some_slot

NAMES = {1: "gate", 2: "light"}
SETTINGS = ReceiverSettings((5, 30), local_programming=True, password_set=False)


def side(label: str, *slots: Slot, settings: ReceiverSettings | None = SETTINGS) -> Side:
    return Side(label, some_identity(), some_limits(), slots, settings, (OutputMode.TIMED, OutputMode.TIMED))


def test_added_missing_and_changed_in_words() -> None:
    """By transmitter, ordered by slot; each sentence says who, where and what."""
    left = side("A", some_slot(1, 11, name="Berth 1"), some_slot(2, 12, [(1, 1)], "Berth 2"), some_slot(4, 14))
    right = side("B", some_slot(2, 12, [(1, 2), (3, 1)], "Berth two"), some_slot(3, 13), some_slot(9, 14))
    found = compare(left, right, NAMES)
    assert [(each.kind, each.serial) for each in found.slots] == [
        ("missing", 11),
        ("changed", 12),
        ("added", 13),
        ("changed", 14),
    ]
    words = [each.words for each in found.slots]
    assert words[0] == "slot 1: Berth 1 (transmitter 0000000011) is missing in B: position 1 works output 1 (gate)."
    assert "position 1 works output 2 (light); position 3 works output 1 (gate); before: position 1" in words[1]
    assert "is called 'Berth two' instead of 'Berth 2'" in words[1]
    assert words[3] == "slot 9: transmitter 0000000014 stands here instead of in slot 4."
    assert not found.alike


def test_settings_are_differences_and_the_rest_is_told() -> None:
    """On-times and the board's lock count; modes, limits, identity, link password are told and don't."""
    right = replace(
        side("B", settings=ReceiverSettings((5, 8), local_programming=False, password_set=False)),
        limits=some_limits(slots=64, outputs=4),
    )
    found = compare(side("A"), right, NAMES)
    assert found.settings == (
        "output 2 (light) stays closed for 8 s instead of 30 s.",
        "local programming at the board is locked instead of allowed.",
    )
    assert not found.alike
    assert found.limits == ("A has 2 outputs, B has 4.", "A has 128 slots, B has 64.")
    other = replace(
        side("B", settings=replace(SETTINGS, password_set=True)),
        modes=(OutputMode.TIMED, OutputMode.LATCHING),
        identity=replace(some_identity("FQ-2"), map_name="harbour"),
    )
    told = compare(side("A"), other, NAMES)
    assert told.alike
    assert told.modes == ("output 2 (light) is latching instead of timed; that is set at the board.",)
    assert len(told.notes) == 3
    assert "Only B has a link password" in told.notes[2]


def test_a_transmitter_that_stands_twice_is_compared_slot_by_slot() -> None:
    """The double in the other slot is the difference, not both."""
    found = compare(side("A", some_slot(1, 11), some_slot(5, 11)), side("B", some_slot(5, 11)), NAMES)
    assert [(each.kind, each.before.number if each.before else 0) for each in found.slots] == [("missing", 1)]


_SLOTS = st.dictionaries(
    st.integers(1, 20),
    st.tuples(st.integers(1, 6), st.frozensets(st.tuples(st.integers(1, 8), st.integers(1, 2)), min_size=1)),
)


@given(_SLOTS, _SLOTS)
def test_nothing_differs_only_when_all_is_the_same(
    left: dict[int, tuple[int, frozenset[tuple[int, int]]]], right: dict[int, tuple[int, frozenset[tuple[int, int]]]]
) -> None:
    """For any two memories; and the other way round it is as many differences, with gains and losses swapped."""
    one = [some_slot(number, serial, pairs) for number, (serial, pairs) in sorted(left.items())]
    two = [some_slot(number, serial, pairs) for number, (serial, pairs) in sorted(right.items())]
    there, back = compare(side("A", *one), side("B", *two), NAMES), compare(side("B", *two), side("A", *one), NAMES)
    assert there.alike == (one == two)
    swapped = {"added": "missing", "missing": "added", "changed": "changed"}
    assert sorted((swapped[each.kind], each.serial) for each in there.slots) == sorted(
        (each.kind, each.serial) for each in back.slots
    )
