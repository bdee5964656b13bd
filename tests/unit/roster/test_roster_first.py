"""A roster made from what receivers hold wants exactly that: applying it is an empty plan."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.mirror import Mirror
from gateway.domain.person import unnamed_holder
from gateway.domain.receiver import Limits, Slot
from gateway.domain.transmitter import MAX_SERIAL, Kind
from gateway.maps import load_map
from gateway.ports import FirstRoster, Memory, ReceiverFacts
from gateway.receivers.slotcodec import fit_text
from gateway.roster import RosterFileReader
from gateway.roster.first import first_roster
from gateway.sync.desired import Moment, Shape, desired_slots
from gateway.sync.planning import plan_changes
from tests.fakes.receiver import some_identity

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
UTC_ZONE = ZoneInfo("UTC")
KINDS = load_map("reference").kinds
NAME_BYTES = 16
FACTS = (
    ReceiverFacts("slip-gate", {1: "gate", 3: "boat-hoist"}, output_limit=8),
    ReceiverFacts("car-park", {1: "barrier"}, output_limit=8),
    ReceiverFacts("workshop", {}, output_limit=8),
)


def kind_code(kind: Kind) -> int:
    """As the register-map driver has it."""
    return 0 if kind.name == "any" else next((c for c, known in KINDS.items() if known.positions == kind.positions), 0)


def fit_name(limits: Limits, name: str) -> str:
    return fit_text(name, limits.name_bytes)


def memory(facts: ReceiverFacts, *slots: Slot) -> Memory:
    limits = Limits(outputs=8, inputs=0, slots=1024, positions=8, name_bytes=NAME_BYTES)
    return Memory(facts, limits, slots, kind_code, fit_name)


def slot(number: int, serial: int, *pairs: tuple[int, int], name: str = "", kind: int = 0, flags: int = 0) -> Slot:
    groups = tuple(frozenset(out for place, out in pairs if place == position) for position in range(1, 9))
    return Slot(number, serial, kind, groups, name, flags, bytes([number % 256]) * 2)


def changes(first: FirstRoster, *memories: Memory) -> list[str]:
    """What applying it would write, in words; the files must be without fault."""
    facts = [each.facts for each in memories]
    found = RosterFileReader(UTC_ZONE).check(first.pair.roster, first.pair.groups, facts)
    assert not found.faults
    assert found.roster is not None
    assert (found.transmitters, found.holders) == (first.transmitters, first.holders)
    words = []
    for each in memories:
        held = Mirror(each.facts.name, some_identity(), each.limits, 1, {slot.number: slot for slot in each.slots})
        shape = Shape(each.limits, each.kind_code, each.fit_name)
        moment = Moment(NOW, UTC_ZONE, trusted=True)
        desired = desired_slots(found.roster, each.facts, shape, moment, site="fennel-quay", revoked=())
        draft = plan_changes(held, desired, each.facts)
        words += [change.words for change in draft.changes]
        assert draft.unchanged == len(each.slots) - len(draft.changes)
    return words


#: What keypads, other programs and damage leave in a memory's names.
NAMES = st.one_of(
    st.sampled_from(["", "Berth 12", "B 12", "  Berth  12", "=1+1", "'=1+1", "''=x", "#N/A", "@desk", 'A "b", c', "'"]),
    st.text(max_size=NAME_BYTES).filter(lambda text: len(text.encode("utf-8", "replace")) <= NAME_BYTES),
    st.integers(1, 30).map(lambda serial: unnamed_holder(serial)[:NAME_BYTES]),
).filter(lambda text: text.encode("utf-8", "ignore").decode() == text)
PAIRS = st.sets(st.tuples(st.integers(1, 8), st.integers(1, 8)), min_size=1, max_size=12)
SERIALS = st.one_of(st.integers(1, 12), st.integers(1, MAX_SERIAL))
SHARED = st.sampled_from([{(1, 1)}, {(1, 1), (2, 3)}, {(5, 2)}])


@st.composite
def memories(draw: st.DrawFn) -> tuple[Memory, ...]:
    """Up to three receivers; a serial stands once in each, under whatever name, kind and rights."""
    made = []
    for facts in FACTS[: draw(st.integers(1, 3))]:
        serials = draw(st.lists(SERIALS, unique=True, max_size=12))
        slots = [
            slot(
                number * 3, serial, *draw(st.one_of(SHARED, PAIRS)), name=draw(NAMES), kind=draw(st.integers(0, 11)),
                flags=draw(st.integers(0, 7)),
            )
            for number, serial in enumerate(serials, 1)
        ]  # fmt: skip
        made.append(memory(facts, *slots))
    return tuple(made)


@settings(max_examples=300, deadline=None)
@given(memories())
def test_applying_it_changes_nothing(found: tuple[Memory, ...]) -> None:
    """Whatever the memories hold, and nobody in them is left out."""
    first = first_roster(found)
    serials = {each.serial for one in found for each in one.slots}
    assert first.transmitters == len(serials)
    assert not first.notes
    if serials:
        assert changes(first, *found) == []


@settings(max_examples=50, deadline=None)
@given(memories())
def test_reading_again_gives_the_same_files(found: tuple[Memory, ...]) -> None:
    """Groups keep their names."""
    assert first_roster(found) == first_roster(found)


def test_equal_rights_become_a_group_with_a_name_of_its_own() -> None:
    """The name comes from the rights alone: another transmitter, or another group, doesn't change it."""
    three = [slot(n, n, (1, 1), (2, 3), name=f"Berth {n}") for n in (1, 2, 3)]
    few = first_roster([memory(FACTS[0], *three[:2])])
    many = first_roster([memory(FACTS[0], *three, slot(9, 9, (1, 1)), slot(10, 10, (1, 1)))])
    (name,) = few.groups
    assert re.fullmatch(r"gate-boat-hoist-[0-9a-f]{6}", name)
    assert name in many.groups
    assert len(many.groups) == 2
    rows = few.pair.roster.decode().splitlines()
    assert rows[1].startswith(f"0000000001,Berth 1,,{name},,")
    assert tomllib.loads((few.pair.groups or b"").decode())["groups"][name] == {
        "slip-gate": {"1": ["gate"], "2": ["boat-hoist"]}
    }


def test_rights_of_one_alone_are_its_own() -> None:
    """An output without a name is written by number."""
    first = first_roster([memory(FACTS[0], slot(1, 77, (4, 2), name="Barge crew"))])
    assert first.groups == ()
    assert "0000000077,Barge crew,,,4:slip-gate/2,,,," in first.pair.roster.decode()


def test_the_unnamed_get_a_place_for_a_name() -> None:
    """And are counted; the receiver goes on keeping no name."""
    first = first_roster([memory(FACTS[0], slot(1, 48231907, (1, 1)))])
    assert "0048231907,Unnamed 0048231907" in first.pair.roster.decode()
    assert (first.unnamed, b"labels" in (first.pair.groups or b"")) == (1, False)


def test_a_name_that_one_receiver_keeps_differently_is_a_label() -> None:
    """The holder is what most keep; naming nobody at one of them is a label too."""
    held = [slot(1, 77, (1, 1), name=name) for name in ("Berth 12", "", "Berth 12")]
    found = [memory(facts, each) for facts, each in zip(FACTS, held, strict=True)]
    first = first_roster(found)
    assert tomllib.loads((first.pair.groups or b"").decode())["labels"] == {"car-park": {"0000000077": ""}}
    assert changes(first, *found) == []


@pytest.mark.parametrize(("code", "kind"), [(5, "four-button"), (3, "buttons-1-2-1+2"), (0, ""), (77, "")])
def test_the_kind_comes_from_the_memory(code: int, kind: str) -> None:
    """Where it states one that is known; combined positions get their labels."""
    first = first_roster([memory(FACTS[0], slot(1, 77, (3, 1), name="x", kind=code))])
    row = first.pair.roster.decode().splitlines()[1].split(",")
    assert row[2] == kind
    assert row[4].startswith("1+2:" if code == 3 else "3:")


def test_a_transmitter_that_stands_twice_is_said() -> None:
    """The lower slot is the one that works; the other is all that a plan would touch."""
    found = memory(FACTS[0], slot(4, 77, (1, 1), name="Barge"), slot(2, 77, (2, 3), name="Barge"))
    first = first_roster([found])
    assert first.notes == (
        "slip-gate holds transmitter 0000000077 twice: slot 2 works, and slot 4, which does nothing, would be freed.",
    )
    assert "2:slip-gate/boat-hoist" in first.pair.roster.decode()
    assert [words.split(":")[0] for words in changes(first, found)] == ["slot 4"]
