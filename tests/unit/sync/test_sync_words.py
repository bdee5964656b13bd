"""Changes and plans in plain words, and as JSON."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.sync.words import Person, change_words, joined, plan_document, plan_summary
from tests.fakes.receiver import some_slot
from tests.fakes.sync_house import facts

BERTH = Person("Berth 12", BUILT_IN_KINDS["four-button"])


def slot(*pairs: tuple[int, int], name: str = "Berth 12") -> Slot:
    return some_slot(118, 48231907, pairs, name)


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (slot((1, 1), (3, 3)), slot((1, 1)), "loses output 3 (boat-hoist)"),
        (slot((1, 1)), slot((1, 1), (3, 3)), "gains output 3 (boat-hoist)"),
        (slot((1, 1), (2, 1)), slot((1, 1)), "loses output 1 (gate) on position 2"),
        (
            slot((1, 1), (2, 2)),
            slot((2, 1), (3, 3)),
            "gains output 3 (boat-hoist) and output 1 (gate) on position 2 and "
            "loses output 2 (light) and output 1 (gate) on position 1",
        ),
        (slot((1, 1), name="Berth 11"), slot((1, 1)), "is now called 'Berth 12'"),
        (None, slot((1, 1), (3, 1), (3, 3)), "is added: position 1 works output 1 (gate); "
                                             "position 3 works output 1 (gate) and output 3 (boat-hoist)"),
    ],
)  # fmt: skip
def test_what_a_holder_gains_and_loses(before: Slot | None, after: Slot, words: str) -> None:
    """Outputs by number and name, positions by label."""
    said = change_words(before, after, facts(), BERTH)
    assert said == f"slot 118: Berth 12, four-button transmitter 0048231907, {words}".replace(
        ", is added", ", is added"
    )


def test_pairs_of_buttons_are_named_as_the_kind_names_them() -> None:
    """Position 3 of such a kind is "1+2"."""
    person = Person("Berth 12", Kind("paired", ("1", "2", "1+2")))
    assert "position 1+2 works output 3 (boat-hoist)" in change_words(None, slot((3, 3)), facts(), person)


def test_removals_say_why_and_whom_when_the_roster_does_not_know() -> None:
    """The slot's own name, or a sentence."""
    said = change_words(slot((1, 1), name="Old crew"), None, facts(), Person(), "not in the roster")
    assert said == "slot 118: Old crew, transmitter 0048231907, is removed (not in the roster)"
    nameless = change_words(slot((1, 1), name=""), None, facts(), Person())
    assert nameless == "slot 118: a transmitter that the roster does not know, transmitter 0048231907, is removed"


def test_joined() -> None:
    """As people write lists."""
    assert [joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"])] == ["a", "a and b", "a, b and c"]


def plan(*changes: Change, wire_s: float = 4.2) -> Plan:
    return Plan("p1", "slip-gate", datetime(2026, 3, 2, tzinfo=UTC), "d1", 7, changes, 381, wire_s, PlanState.PREVIEW)


CHANGES = (
    Change(ChangeKind.REMOVED, 2, some_slot(2, 5), None, "w", guarded=True),
    Change(ChangeKind.CHANGED, 118, slot((1, 1)), slot((2, 1)), "w"),
    Change(ChangeKind.ADDED, 2, None, some_slot(2, 6), "w"),
)


@pytest.mark.parametrize(
    ("wire_s", "words"),
    [(0.4, "less than 1 s"), (4.2, "about 4 s"), (119.0, "about 119 s"), (600.0, "about 10 min")],
)
def test_the_summary_counts_and_estimates(wire_s: float, words: str) -> None:
    """In one line."""
    assert (
        plan_summary(plan(*CHANGES, wire_s=wire_s))
        == f"1 added, 1 changed, 1 removed, 381 unchanged; {words} on the wire"
    )


def test_the_summary_of_nothing() -> None:
    """No seconds where nothing is written."""
    assert plan_summary(plan()) == "0 added, 0 changed, 0 removed, 381 unchanged; nothing to write"


def test_the_document_is_json_with_before_and_after() -> None:
    """Counts, slots touched (a slot that changes hands is one), seconds, every change."""
    document = json.loads(json.dumps(plan_document(plan(*CHANGES))))
    assert {key: document[key] for key in ("added", "changed", "removed", "unchanged", "slots_touched", "wire_s")} == {
        "added": 1,
        "changed": 1,
        "removed": 1,
        "unchanged": 381,
        "slots_touched": 2,
        "wire_s": 4.2,
    }
    assert document["changes"][1]["before"]["outputs"] == {"1": [1]}
    assert document["changes"][1]["after"]["serial"] == "0048231907"
    assert document["changes"][0]["after"] is None
    assert document["changes"][0]["guarded"] is True
