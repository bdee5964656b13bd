"""The groups file: TOML as published, all faults in one pass with their lines."""

from __future__ import annotations

import pytest

from gateway.domain.roster import Right
from gateway.domain.transmitter import Kind
from gateway.ports import ReceiverFacts
from gateway.roster.findings import Findings
from gateway.roster.groups import Groups
from gateway.roster.groups_toml import read_groups
from gateway.roster.names import ReceiverNames

FACTS = (
    ReceiverFacts("slip-gate", {1: "gate", 3: "boat-hoist"}),
    ReceiverFacts("car-park", {1: "barrier"}, positions=4),
)


def read(text: str, facts: tuple[ReceiverFacts, ...] | None = FACTS) -> tuple[Groups, Findings]:
    findings = Findings("groups.toml")
    return read_groups(text.encode(), ReceiverNames(facts), findings), findings


def test_the_published_form() -> None:
    """Position = outputs by name or number, and kinds of one's own beside the built-in ones."""
    groups, findings = read(
        "[groups.berth-holders]\r\n"
        'slip-gate = { 1 = ["gate"], 3 = ["boat-hoist"] }     # position = outputs\r\n'
        'car-park = { 1 = [1], "2+1" = ["barrier"] }\r\n'
        "[kinds.four-button]\r\n"
        'positions = ["1", "2", 3, "4", "1+2"]\r\n'
    )
    assert findings.faults == ()
    assert findings.warnings == ()
    assert groups.groups == {
        "berth-holders": (
            Right("car-park", "1", "1"),
            Right("car-park", "1+2", "barrier"),
            Right("slip-gate", "1", "gate"),
            Right("slip-gate", "3", "boat-hoist"),
        )
    }
    assert groups.kinds["four-button"] == Kind("four-button", ("1", "2", "3", "4", "1+2"))
    assert groups.kinds["two-button"].positions == ("1", "2")


def test_tables_below_tables_mean_the_same() -> None:
    """TOML 1.0.0 writes one table in several ways."""
    groups, findings = read('[groups."Harbour staff".slip-gate]\n1 = ["gate"]\n')
    assert findings.faults == ()
    assert groups.groups == {"Harbour staff": (Right("slip-gate", "1", "gate"),)}


def test_receivers_are_found_whatever_their_case() -> None:
    """`Slip-Gate` has one reading; the right carries the name as the settings write it."""
    groups, findings = read('[groups.a]\nSlip-Gate = { 1 = ["GATE"] }\n')
    assert findings.faults == ()
    assert groups.groups["a"][0].receiver == "slip-gate"


def test_an_unknown_receiver_is_a_warning_and_an_unknown_output_a_fault() -> None:
    """A receiver may stand at another site of the same file; an output of a known one can't."""
    _, findings = read('[groups.a]\nslip-gat = { 1 = ["gate"] }\ncar-park = { 1 = ["barier"] }\n')
    (warning,) = findings.warnings
    assert (warning.row, warning.column) == (2, "groups.a.slip-gat.1")
    assert 'did you mean "slip-gate"' in warning.remedy
    (fault,) = findings.faults
    assert (fault.row, fault.column) == (3, "groups.a.car-park.1")
    assert "1 (barrier)" in fault.remedy
    assert 'did you mean "barrier"' in fault.remedy


def test_without_facts_nothing_is_checked() -> None:
    """On another machine nobody knows the receivers."""
    _, findings = read('[groups.a]\nsomewhere = { 1 = ["something"] }\n', None)
    assert findings.faults == ()
    assert findings.warnings == ()


@pytest.mark.parametrize(
    ("text", "row", "found"),
    [
        ('[groups.a]\nslip-gate = { 1+2 = ["gate"] }\n', 2, "not TOML"),
        ("[groups.a]\nslip-gate = {\n", 2, "not TOML"),
        ("[groups.a]\n[groups.a]\n", 2, "not TOML"),
    ],
)
def test_syntax_faults_have_a_line(text: str, row: int, found: str) -> None:
    """A file that is no TOML: its line, and no further faults about names that could not be read."""
    groups, findings = read(text)
    (fault,) = findings.faults
    assert fault.row == row
    assert found in fault.found
    assert '"1+2"' in fault.remedy
    assert not groups.readable


def test_bytes_that_are_no_utf8() -> None:
    """TOML is UTF-8 by definition (TOML 1.0.0, "Spec")."""
    findings = Findings("groups.toml")
    read_groups(b'[groups.a]\nx = { 1 = ["\xc5"] }\n', ReceiverNames(None), findings)
    (fault,) = findings.faults
    assert fault.row == 2
    assert "0xC5" in fault.found


def test_every_fault_of_the_file_in_one_pass() -> None:
    """Unknown tables and keys, wrong types, positions and names: all told, each with its line."""
    _, findings = read(
        "[grups.a]\n"  # 1
        "[groups.b]\n"
        'slip-gate = { 1 = "gate" }\n'  # 3
        'car-park = { 9 = ["barrier"] }\n'  # 4
        "[groups.c]\n"
        "slip-gate = { 1 = [true] }\n"  # 6
        'car-park = ["barrier"]\n'  # 7
        "[groups.d]\n"
        '"slip gate" = { 1 = ["gate"] }\n'  # 9
        "[kinds.k]\n"
        'positions = ["1", "1", "1+1"]\n'  # 11, two faults
        "[kinds.m]\n"  # 12
        'position = ["1"]\n'  # 13
        "[kinds.n]\n"
        "positions = []\n"  # 15
        '[groups."\\u202Ee"]\n'  # 16
    )
    assert [fault.row for fault in findings.faults] == [1, 3, 4, 6, 7, 9, 11, 11, 12, 13, 15, 16]
    assert all(fault.found and fault.remedy and fault.file == "groups.toml" for fault in findings.faults)
    assert 'did you mean "groups"' in findings.faults[0].remedy
    assert 'did you mean "positions"' in findings.faults[9].remedy


def test_a_group_or_kind_that_is_no_table() -> None:
    """The fault names the place, never a Python error."""
    _, findings = read('kinds = 3\n[groups]\na = "gate"\n')
    assert [(fault.row, fault.column) for fault in findings.faults] == [(1, "kinds"), (3, "groups.a")]
