"""What happened, in sentences: every event, with and without what is hidden; and cells that no spreadsheet runs."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.events import EventName
from gateway.domain.gate import Contact, Gate, InputRole
from gateway.domain.spreadsheet import csv_line
from gateway.domain.story import NAMES_BY_KIND, StoryKind, gates_of, kind_of, tell

SLIP = Gate(
    "slip-gate",
    "Slip gate",
    "slip-gate",
    outputs=(1,),
    contacts=(
        Contact("slip-gate", 1, InputRole.CLOSED, "gate closed", "slip-gate"),
        Contact("car-park", 4, InputRole.SAFETY, "light barrier", "slip-gate"),
    ),
)
BARRIER = Gate("barrier", "Car-park barrier", "car-park", outputs=(1, 2))
GATES = (SLIP, BARRIER)

_HEARD = {"serial": "0048231907", "holder": "Berth 12", "position": "1", "outputs": [1], "known": True}


@pytest.mark.parametrize(
    ("name", "receiver", "data", "sentence"),
    [
        ("transmitter.heard", "slip-gate", _HEARD, "Berth 12 used Slip gate (position 1)."),
        (
            "transmitter.heard",
            "slip-gate",
            {key: value for key, value in _HEARD.items() if key != "holder"},
            "Transmitter 0048231907 used Slip gate (position 1).",
        ),
        (
            "transmitter.heard",
            "slip-gate",
            {**_HEARD, "outputs": [2, 3], "output_names": ["lamp", ""]},
            "Berth 12 used lamp and output 3 (position 1).",
        ),
        (
            "transmitter.heard",
            "slip-gate",
            {**_HEARD, "outputs": []},
            "Berth 12 was heard at Slip Gate, and works nothing there (position 1).",
        ),
        (
            "transmitter.heard",
            "slip-gate",
            {"serial": "0048000001", "known": False},
            "An unknown transmitter, 0048000001, was pressed at Slip Gate; it works nothing.",
        ),
        (
            "transmitter.heard",
            "slip-gate",
            {**_HEARD, "enrolling": True},
            "Berth 12 was heard while the receiver listened (position 1).",
        ),
        ("input.changed", "slip-gate", {"input": 1, "violated": True}, "Slip gate left its shut position."),
        ("input.changed", "slip-gate", {"input": 1, "violated": False}, "Slip gate is shut."),
        ("input.changed", "car-park", {"input": 4, "violated": True}, "Something is in the way of Slip gate."),
        (
            "input.changed",
            "slip-gate",
            {"input": 2, "name": "hoist parked", "violated": True, "changes": 3},
            "Hoist parked at Slip Gate is violated. It changed 3 times.",
        ),
        (
            "output.changed",
            "car-park",
            {"output": 2, "name": "door", "closed": True, "origin": "board"},
            "Output door of Car-park barrier was switched on, at the board.",
        ),
        (
            "output.changed",
            "slip-gate",
            {"output": 3, "closed": False, "origin": "radio"},
            "Output 3 at Slip Gate was switched off.",
        ),
        ("plan.applied", "slip-gate", {"added": 1, "removed": 4},
            "Slip Gate was brought up to date and proven: 1 added and 4 removed."),
        ("visit.started", "", {"of": "slip-gate", "minutes": 1, "reason": "aerial"},
            "Work is in progress at Slip Gate for 1 minute: aerial."),
        ("visit.ended", "", {"of": "slip-gate", "changed_count": 1},
            "Work at Slip Gate is over; 1 thing changed meanwhile."),
        ("condition.raised", "", {"gate": "barrier", "sentence": "It is open."}, "It is open."),
    ],
)  # fmt: skip
def test_sentences(name: str, receiver: str, data: dict[str, Any], sentence: str) -> None:
    """Who did what at which gate; less is said where less is known."""
    assert tell(EventName(name), receiver, data, GATES) == sentence


@pytest.mark.parametrize("name", EventName)
def test_every_event_has_a_sentence(name: EventName) -> None:
    """Even with no data at all: a whole sentence, without a hole or a word of Python's."""
    words = tell(name, "slip-gate", {}, GATES)
    assert words.endswith((".", "!", "?")) or name.value.startswith("condition.")
    assert "None" not in words
    assert "  " not in words
    assert not words or words[0].isupper() or words[0].isdigit()


def test_every_event_has_one_kind() -> None:
    """The kinds share the names out among them."""
    assert sorted(name for names in NAMES_BY_KIND.values() for name in names) == sorted(EventName)
    assert kind_of(EventName.OUTPUT_OPERATED) is StoryKind.USE


@pytest.mark.parametrize(
    ("name", "receiver", "data", "gates"),
    [
        ("transmitter.heard", "slip-gate", {"outputs": [1, 2]}, ["slip-gate"]),
        ("transmitter.heard", "car-park", {"outputs": [2]}, ["barrier"]),
        ("transmitter.heard", "car-park", {"outputs": [3]}, []),
        ("transmitter.heard", "car-park", {"outputs": None}, []),
        ("input.changed", "car-park", {"input": 4}, ["slip-gate"]),
        ("output.changed", "car-park", {"output": 1}, ["barrier"]),
        ("condition.raised", "", {"gate": "barrier"}, ["barrier"]),
        ("link.lost", "slip-gate", {}, ["slip-gate"]),
        ("gateway.started", "", {}, []),
    ],
)
def test_which_gates_it_is_about(name: str, receiver: str, data: dict[str, Any], gates: list[str]) -> None:
    """By output, by contact (also one at another receiver), by its own word, or all that hang on a receiver."""
    assert [gate.name for gate in gates_of(EventName(name), receiver, data, GATES)] == gates


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_a_cell_that_would_run_is_text(start: str) -> None:
    """OWASP, CSV Injection: a leading apostrophe."""
    (row,) = csv.reader(io.StringIO(csv_line([f"{start}HYPERLINK(1)"]), newline=""))
    assert row == [f"'{start}HYPERLINK(1)"]


@given(st.lists(st.text(), min_size=1, max_size=5))
def test_other_cells_come_back(cells: list[str]) -> None:
    """Python's own reader, an independent one, reads what was written."""
    cells = [cell.replace("\0", "") for cell in cells]
    (row,) = csv.reader(io.StringIO(csv_line(cells), newline=""))
    assert [
        cell.removeprefix("'") if not own.startswith("'") else cell for cell, own in zip(row, cells, strict=True)
    ] == cells
