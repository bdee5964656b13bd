"""Taking a name out of plain JSON: from what is about the person, and from sentences; never from identifiers."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.forgetting import FORGOTTEN, Redaction

THEIRS = Redaction({48_231_907}, {"Berth 12", "Ed", "gate", "Zoë Quay"})


@pytest.mark.parametrize(
    ("before", "after"),
    [
        # an object with their serial, as digits or as a number, and everything in it
        ({"serial": "0048231907", "holder": "Berth 12"}, {"serial": "0048231907", "holder": ""}),
        ({"serial": 48231907, "new": {"name": "Ed"}}, {"serial": 48231907, "new": {"name": ""}}),
        ({"slots": [{"serial": "0048231907", "name": "Ed"}]}, {"slots": [{"serial": "0048231907", "name": ""}]}),
        ({"serial": 48231907, "words": "Ed gets gate"}, {"serial": 48231907, "words": f"{FORGOTTEN} gets {FORGOTTEN}"}),
        # a text with their digits
        ("Ed, transmitter 0048231907, is gone", f"{FORGOTTEN}, transmitter 0048231907, is gone"),
        # sentences elsewhere: whole words alone, and no short ones
        ("work at Berth 12 today", f"work at {FORGOTTEN} today"),
        ("work at Berth 123 today", "work at Berth 123 today"),
        ("Zoë Quay asked", f"{FORGOTTEN} asked"),
        ("Ed asked", "Ed asked"),
        # what is nobody's name there
        ("gate", "gate"),
        ({"serial": "0000000077", "holder": "gate"}, {"serial": "0000000077", "holder": "gate"}),
        ({"receiver": "gate", "output": 1, "Berth 12": None}, {"receiver": "gate", "output": 1, "Berth 12": None}),
        (["Berth 12", 12, True, None, 1.5], ["", 12, True, None, 1.5]),
    ],
)
def test_what_goes_and_what_stays(before: object, after: object) -> None:
    """Names are taken from where they are this person's; keys, numbers and other people's objects stay."""
    assert THEIRS(before) == after


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@given(_JSON, st.sets(st.text(max_size=6), max_size=3))
def test_twice_is_once_and_the_shape_stays(value: object, names: set[str]) -> None:
    """Whatever the names are: no crash, the same keys and lengths, and nothing more to do the second time."""
    redact = Redaction({1}, names - {word for word in names if word in FORGOTTEN})
    once = redact(value)
    assert redact(once) == once
    assert _shape(once) == _shape(value)


def _shape(value: object) -> object:
    if isinstance(value, dict):
        return {key: _shape(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_shape(each) for each in value]
    return type(value).__name__
