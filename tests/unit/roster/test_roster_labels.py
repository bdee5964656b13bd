"""Labels in the groups file, and outputs that have no name."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.person import unnamed_holder
from gateway.domain.receiver import Limits
from gateway.domain.roster import Fault, Roster
from gateway.ports import ReceiverFacts
from gateway.receivers.slotcodec import fit_text
from gateway.roster import RosterFileReader
from gateway.sync.desired import Moment, Shape, desired_slots

UTC_ZONE = ZoneInfo("UTC")
FACTS = ReceiverFacts("slip-gate", {1: "gate", 4: "2"}, output_limit=4)
LIMITS = Limits(outputs=4, inputs=0, slots=8, positions=8, name_bytes=8)


def check(rows: str, groups: str) -> tuple[Roster | None, tuple[Fault, ...]]:
    found = RosterFileReader(UTC_ZONE).check(f"serial,holder,rights\n{rows}".encode(), groups.encode(), (FACTS,))
    return found.roster, found.faults


def kept_name(holder: str, labels: str = "") -> str:
    """What slip-gate is to keep for transmitter 77."""
    roster, faults = check(f"77,{holder},1:slip-gate/gate\n", f"[labels.Slip-Gate]\n{labels}\n" if labels else "")
    assert (roster is not None, faults) == (True, ())
    assert roster is not None
    shape = Shape(LIMITS, lambda kind: 0, lambda limits, name: fit_text(name, limits.name_bytes))
    moment = Moment(datetime(2026, 3, 2, tzinfo=UTC), UTC_ZONE, trusted=True)
    return desired_slots(roster, FACTS, shape, moment, site="x", revoked=()).wanted[77].name


@pytest.mark.parametrize(
    ("holder", "labels", "name"),
    [
        ("Berth 12 Heron", "", "Berth 12"),
        ("Berth 12", '77 = "B 12"', "B 12"),
        ("Berth 12", '0000000077 = ""', ""),
        ("Berth 12", '77 = "\\u0007 bell"', "\a bell"),
        ("Berth 12", '77 = "longer than fits"', "longer t"),
        ("Berth 12", '78 = "another"', "Berth 12"),
        (unnamed_holder(77), "", ""),
        (unnamed_holder(78), "", "Unnamed"),
    ],
)
def test_the_name_that_a_receiver_is_to_keep(holder: str, labels: str, name: str) -> None:
    """A label before the holder; nothing where nobody has been named."""
    assert kept_name(holder, labels) == name


@pytest.mark.parametrize(
    ("labels", "line"),
    [
        ("labels = 3", 1),
        ("[labels]\nslip-gate = 3", 2),
        ("[labels.slip-gate]\nberth = 'x'", 2),
        ("[labels.slip-gate]\n77 = 3", 2),
        (f"[labels.slip-gate]\n77 = '{'x' * 1001}'", 2),
    ],
)
def test_labels_that_can_not_be_read(labels: str, line: int) -> None:
    """With their line and what to write."""
    roster, faults = check("77,x,1:slip-gate/gate\n", labels)
    assert roster is None
    assert [(fault.file, fault.row) for fault in faults] == [("groups", line)]
    assert faults[0].remedy


def test_outputs_without_a_name_are_written_by_number() -> None:
    """Up to as many as there may be; a name that is a number goes before the number."""
    roster, faults = check("77,x,1:slip-gate/3 2:slip-gate/2\n", "")
    assert roster is not None
    assert [FACTS.output_number(right.output) for right in roster.entries[0].rights] == [3, 4]
    assert [FACTS.output_text(number) for number in range(1, 6)] == ["gate", None, "3", "2", None]
    _, faults = check("77,x,1:slip-gate/5\n", "")
    assert "which slip-gate does not have" in faults[0].found
