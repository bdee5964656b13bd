"""The rights column and positions."""

from __future__ import annotations

import pytest

from gateway.domain.roster import Right
from gateway.roster.cells import Wrong
from gateway.roster.rights import read_name, read_output, read_position, read_rights


def test_rights_are_read_once_each_in_a_fixed_order() -> None:
    """Several outputs for one position, doubled ones once, `2+1` as `1+2`."""
    rights, wrongs = read_rights("2+1:slip-gate/gate 1:car-park/barrier 1:slip-gate/2 1:car-park/barrier")
    assert wrongs == []
    assert rights == [
        Right("car-park", "1", "barrier"),
        Right("slip-gate", "1", "2"),
        Right("slip-gate", "1+2", "gate"),
    ]


@pytest.mark.parametrize(
    "text",
    ["1:slip-gate", "slip-gate/gate", "1:slip-gate/gate,2:car-park/barrier", "1: slip-gate/gate", "1:/gate", "1:a/b/c"],
)
def test_malformed_rights_are_refused_with_the_form(text: str) -> None:
    """Anything but position:receiver/output is told, with an example."""
    _, wrongs = read_rights(text)
    assert wrongs
    assert "1:slip-gate/gate" in wrongs[0].remedy


def test_all_faults_of_a_cell_are_told() -> None:
    """One cell may hold several faults."""
    _, wrongs = read_rights("9:slip-gate/gate 1:slip-gate 1+1:car-park/barrier 1:car-park/barrier")
    assert [wrong.found for wrong in wrongs] == [
        'the position "9"',
        '"1:slip-gate" among the rights',
        'the position "1+1"',
    ]


@pytest.mark.parametrize("dash", ["\u2010", "\u2011", "\u2013", "\u2014", "\u2212", "\uff0d"])
def test_dashes_of_a_word_processor_are_hyphens(dash: str) -> None:
    """No name in the settings has one, so a right with one could only be lost."""
    rights, wrongs = read_rights(f"1:slip{dash}gate/boat{dash}hoist")
    assert (rights, wrongs) == ([Right("slip-gate", "1", "boat-hoist")], [])


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("\u201cslip-gate\u201d", "without quotation marks"),
        ("slip'gate", "without quotation marks"),
        ("schl\u00fcpftor", "letters a to z"),
        ("slip\u200dgate", "letters a to z"),
        ("-gate", "letters a to z"),
        ("", "letters a to z"),
    ],
)
def test_names_that_no_settings_can_have(text: str, remedy: str) -> None:
    """Each says what to write."""
    wrong = read_name(text)
    assert isinstance(wrong, Wrong)
    assert remedy in wrong.remedy


@pytest.mark.parametrize("name", ["t\u00fcr", "\u0432\u043e\u0440\u043e\u0442\u0430", "2", "gate_2"])
def test_an_output_may_have_letters_of_any_script(name: str) -> None:
    """As in the settings, and as people call it later; in a row as in a group."""
    assert read_output(name) == name
    assert read_rights(f"1:slip-gate/{name}") == ([Right("slip-gate", "1", name)], [])


@pytest.mark.parametrize("text", ["", "slip\u200dgate", "\u201egate\u201c"])
def test_what_no_output_can_be_called(text: str) -> None:
    """Told as for other names."""
    assert isinstance(read_output(text), Wrong)


@pytest.mark.parametrize("text", ["0", "9", "1+2+3", "1+9", "3+3", "", "a", "1 +2"])
def test_no_such_position(text: str) -> None:
    """1 to 8, or two different ones together."""
    assert isinstance(read_position(text), Wrong)
