"""Receivers of kind `manual` in the settings: what they state, and what is refused with what to write."""

from __future__ import annotations

import pytest

from gateway.clock import SystemClock
from gateway.daemon import plan_parts
from gateway.errors import SettingsFault
from gateway.settings import parse_settings

_HEAD = '[gateway]\nsite = "fennel-quay"\nstate = "/nowhere"\n[api]\nsocket = "/nowhere/api.sock"\n'
_SHED = 'kind = "manual"\nslots = 20\noutputs = { 1 = "gate", 2 = "hoist" }\n'


def _text(shed: str) -> str:
    return f"{_HEAD}[receivers.boat-shed]\n{shed}"


def test_a_site_may_have_nothing_but_receivers_without_a_line() -> None:
    """No line is needed; limits are those stated."""
    parts = plan_parts(parse_settings(_text(_SHED + "positions = 4\noutput_count = 3\n"), "x"), SystemClock())
    (shed,) = parts.by_hand.values()
    limits = shed.limits
    assert (limits.outputs, limits.slots, limits.positions, limits.inputs) == (3, 20, 4, 0)
    assert (parts.lines, parts.receivers, parts.line_of) == ({}, {}, {})
    assert list(parts.all_receivers) == ["boat-shed"]
    assert parts.facts[0].output_number("hoist") == 2


@pytest.mark.parametrize(
    ("shed", "words"),
    [
        ('kind = "manual"\noutputs = { 1 = "gate" }\n', "slots is needed"),
        ('kind = "manual"\nslots = 20\n', "outputs is needed"),
        (_SHED + "output_count = 1\n", "output 2 has a name"),
        (_SHED + 'line = "quayside"\n', "line needs a line"),
        (_SHED + "address = 3\n", "address needs a line"),
        (_SHED + 'operate = ["gate"]\n', "operate needs a line"),
        (_SHED + 'inputs = { 1 = "spare" }\n', "inputs needs a line"),
        ('outputs = { 1 = "gate" }\n', 'line is needed: the line that it is on; or kind = "manual"'),
        ('line = "quayside"\nslots = 20\n', 'slots is for kind = "manual"'),
        ('kind = "wireless"\n', "manual"),
        (_SHED.replace("20", "0"), "at least 1"),
    ],
)
def test_what_does_not_fit_is_told(shed: str, words: str) -> None:
    """With the receiver's name and what to write."""
    with pytest.raises(SettingsFault) as fault:
        parse_settings(_text(shed), "gatepost.toml")
    assert words in str(fault.value)
    assert "receivers.boat-shed" in str(fault.value)
