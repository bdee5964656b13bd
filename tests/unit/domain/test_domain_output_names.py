"""What outputs are called: names in force, what else is read as an output, and what happens at a change."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.output_names import (
    MOST_FORMER,
    CalledOutput,
    OutputNaming,
    names_in_force,
    renamed,
    renaming_words,
    tidy_name,
    unfit_name,
)

FILE = {1: "gate", 2: "boat-hoist"}
FIRST = OutputNaming("slip-gate")


def called(*changes: dict[int, str], of_settings: dict[int, str] | None = None) -> OutputNaming:
    """The naming after these changes, one after the other."""
    naming = FIRST
    for wanted in changes:
        naming = renamed(FILE if of_settings is None else of_settings, naming, wanted)
    return naming


def test_the_settings_file_names_outputs_first() -> None:
    """Nothing else is read as one of them."""
    names = names_in_force(FILE, FIRST)
    assert names.outputs == FILE
    assert names.also == {}


def test_a_given_name_takes_the_place_of_the_first_one() -> None:
    """The other is read as it still; an output without a name gets one."""
    names = names_in_force(FILE, called({1: "Slip", 3: "lamp"}))
    assert names.outputs == {1: "Slip", 2: "boat-hoist", 3: "lamp"}
    assert names.also == {"gate": 1}


def test_every_earlier_name_is_read() -> None:
    """In folded letters; back at the file's name nothing is given any more."""
    naming = called({1: "slip"}, {1: "Haven"}, {1: ""})
    assert naming.given == ()
    assert names_in_force(FILE, naming).outputs == FILE
    assert names_in_force(FILE, naming).also == {"slip": 1, "haven": 1}
    assert [each.name for each in naming.former] == ["slip", "Haven"]


def test_the_files_own_name_is_no_given_one() -> None:
    """Typing it is going back to it."""
    assert called({1: "gate"}) == FIRST
    assert called({1: "slip"}, {1: "gate"}).given == ()


def test_other_capitals_are_another_name_of_the_same_output() -> None:
    """And nothing is left to be read beside it."""
    names = names_in_force(FILE, called({1: "Gate"}))
    assert names.outputs[1] == "Gate"
    assert "gate" not in names.also


def test_a_name_that_moves_on_belongs_to_its_last_owner() -> None:
    """Also when that one is called otherwise again: what was written lately is read so."""
    naming = called({1: "slip"}, {2: "gate"})
    assert names_in_force(FILE, naming).outputs == {1: "slip", 2: "gate"}
    assert names_in_force(FILE, naming).also == {"boat-hoist": 2}
    again = renamed(FILE, naming, {2: "crane"})
    assert names_in_force(FILE, again).also == {"boat-hoist": 2, "gate": 2}


def test_two_outputs_can_change_names() -> None:
    """In one change; no name is left over."""
    names = names_in_force(FILE, called({1: "boat-hoist", 2: "gate"}))
    assert names.outputs == {1: "boat-hoist", 2: "gate"}
    assert names.also == {}


def test_a_settings_file_that_names_another_output_so_comes_first() -> None:
    """Never do two outputs share a name, whatever somebody has written into the file since."""
    naming = called({1: "slip"})
    names = names_in_force({1: "gate", 2: "SLIP"}, naming)
    assert names.outputs == {1: "gate", 2: "SLIP"}
    assert names.also == {}


def test_old_names_are_kept_within_bounds_and_longer_where_they_are_used() -> None:
    """The oldest go first, but none that a roster writes."""
    naming = FIRST
    for number in range(MOST_FORMER + 5):
        naming = renamed(FILE, naming, {1: f"slip-{number}"}, {"slip-0"})
    kept = [each.name for each in naming.former]
    assert kept[0] == "slip-0"
    assert len(kept) == MOST_FORMER + 1
    assert "slip-1" not in kept


_NAMES = st.sampled_from(("", "gate", "boat-hoist", "slip", "Slip", "haven", "lamp"))
_CHANGES = st.dictionaries(st.integers(1, 3), _NAMES, min_size=1)


@given(st.lists(_CHANGES, max_size=8), st.dictionaries(st.integers(1, 3), _NAMES))
def test_whatever_happens_no_two_are_called_alike(changes: list[dict[int, str]], later: dict[int, str]) -> None:
    """Nor is a text read as two outputs, with any settings file that comes after."""
    folded = [name.casefold() for name in later.values() if name]
    file = later if len(set(folded)) == len(folded) else FILE
    names = names_in_force(file, called(*changes))
    in_use = [name.casefold() for name in names.outputs.values()]
    assert len(set(in_use)) == len(in_use)
    assert not set(in_use) & set(names.also)
    assert all(names.outputs.values())


@pytest.mark.parametrize("name", ["gate", "boat-hoist", "Tür", "ворота", "gate_2", "2nd", "x" * 32, "1a"])
def test_names_that_do(name: str) -> None:
    """Letters of any script, digits, hyphens."""
    assert unfit_name(name) == ""


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("", "at most 32 characters"),
        ("x" * 33, "at most 32 characters"),
        ("x" * 1000, "at most 32 characters"),
        ("slip gate", "no blanks"),
        ("   ", "no blanks"),
        ("slip\u00a0gate", "no blanks"),
        ("slip\ngate", "no blanks"),
        ("slip\u200bgate", "invisible"),
        ("slip\u202egate", "invisible"),
        ("\x00", "invisible"),
        ("slip/gate", "“/” separates"),
        ("slip:gate", "“:” separates"),
        ("slip,gate", "“,” separates"),
        ("slip;gate", "“;” separates"),
        ("<b>gate</b>", "no “<”"),
        ("gate&amp", "no “&”"),
        ('"gate"', 'no “"”'),
        ("=SUM", "no “=”"),
        ("-gate", "begins with"),
        ("slip\u2013gate", "is no hyphen"),
        ("\u201egate\u201c", "no “\u201e”"),
        ("@gate", "begins with"),
        ("2", "digits alone"),
        ("0042", "digits alone"),
        ("٣", "digits alone"),
    ],
)
def test_names_that_do_not(name: str, why: str) -> None:
    """Each with why."""
    assert why in unfit_name(name)


def test_a_name_is_kept_composed() -> None:
    """As rosters are read (Unicode NFC), so that both are the same name."""
    assert tidy_name("Tu\u0308r") == "Tür"


def test_what_an_event_tells_of_names() -> None:
    """A sentence for each; nothing for other settings."""
    data = {
        "output_names": [
            {"output": 1, "before": "gate", "after": "slip"},
            {"output": 3, "before": "", "after": "lamp"},
            {"output": 4, "before": "horn", "after": ""},
        ]
    }
    assert renaming_words(data) == [
        "output 1 is called slip, before gate",
        "output 3 is called lamp",
        "output 4 has no name any more, before horn",
    ]
    assert renaming_words({"before": {}, "after": {}}) == []


def test_a_former_name_stands_once() -> None:
    """However often it comes back."""
    naming = called({1: "slip"}, {1: "haven"}, {1: "slip"}, {1: "haven"})
    assert naming.former == (CalledOutput(1, "gate"), CalledOutput(1, "slip"))
