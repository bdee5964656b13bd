"""One file with more than twenty different faults: all reported in one pass, each with place and remedy."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.roster import Fault
from gateway.ports import ReceiverFacts
from gateway.roster.checking import check_document, check_files

VECTORS = Path(__file__).parents[2] / "vectors" / "rosters"
FACTS = (
    ReceiverFacts("slip-gate", {1: "gate", 3: "boat-hoist"}),
    ReceiverFacts("car-park", {1: "barrier"}),
    ReceiverFacts("boat-hoist", {1: "lift"}),
)
ROSTER, GROUPS = "twenty_faults.csv", "twenty_faults.toml"

#: file, row, column, what the finding must name, what the remedy must name
EXPECTED = (
    (ROSTER, 1, "phone", '"phone"', "x_"),
    (ROSTER, 3, "serial", '"4.82E+07"', "format the column as text"),
    (ROSTER, 4, "serial", '"00482319O8"', "digits printed on the transmitter"),
    (ROSTER, 5, "serial", '"0"', "0 is no transmitter"),
    (ROSTER, 6, "serial", "above 4294967295", "digits printed"),
    (ROSTER, 7, "serial", "11 digits", "up to ten"),
    (ROSTER, 8, "serial", "no serial", "such as 0048231907"),
    (ROSTER, 9, "serial", "0048231907, which stands in row 2 too", "keep one"),
    (ROSTER, 10, "holder", "no holder", "who carries the transmitter"),
    (ROSTER, 11, "kind", '"four-buton"', 'did you mean "four-button"'),
    (ROSTER, 12, "group", '"berth-holdrs"', 'did you mean "berth-holders"'),
    (ROSTER, 13, "group", "neither a group nor rights", "1:slip-gate/gate"),
    (ROSTER, 14, "rights", '"1:slip-gate"', "position:receiver/output"),
    (ROSTER, 15, "rights", 'the position "9"', "1 to 8"),
    (ROSTER, 16, "rights", 'the output "gaet"', 'did you mean "gate"'),
    (ROSTER, 17, "valid_from", '"31/12/2026"', "write 2026-12-31"),
    (ROSTER, 18, "valid_from", '"2026-02-30", a day that does not exist', "2026-10-31"),
    (ROSTER, 19, "valid_until", '"2026-04-01", before valid_from', "exchange"),
    (ROSTER, 20, "valid_until", "happens twice in Europe/Berlin", "+02:00 for the first"),
    (ROSTER, 21, "valid_from", "never happens in Europe/Berlin", "2026-03-29T03:30:00+02:00"),
    (ROSTER, 22, "holder", "U+202E (right-to-left override)", "delete the invisible character"),
    (ROSTER, 23, "holder", "#REF!", "correct the formula"),
    (ROSTER, 24, "K", '"hoist" beyond the last column', "quotes"),
    (ROSTER, 25, "sites", '"fennel-quay,north-yard"', "blanks between"),
    (ROSTER, 26, "valid_until", 'the day number "46326"', "2026-10-31"),
    (ROSTER, 27, "holder", "text after a closing quote", "twice"),
    (ROSTER, 28, "valid_from", '"01/02/2026"', "2026-02-01 or 2026-01-02"),
    (GROUPS, 2, "groups.berth-holders.slip-gate.3", 'the output "hoist"', "3 (boat-hoist)"),
    (GROUPS, 3, "groups.berth-holders.car-park.1", '"barrier" where a list', '["gate"]'),
    (GROUPS, 6, "groups.barge-crew.boat-hoist.2+2", 'the position "2+2"', "1+2"),
    (GROUPS, 10, "kinds.four-button.colour", '"colour"', "positions"),
)


@pytest.fixture(scope="module")
def faults() -> dict[tuple[str, int], Fault]:
    check = check_files(VECTORS / ROSTER, VECTORS / GROUPS, ZoneInfo("Europe/Berlin"), receivers=FACTS)
    assert check.roster is None
    assert len({(fault.file, fault.row) for fault in check.faults}) == len(check.faults)
    return {(fault.file, fault.row): fault for fault in check.faults}


def test_no_more_and_no_fewer_faults(faults: dict[tuple[str, int], Fault]) -> None:
    """One pass finds them all, and nothing else."""
    assert sorted(faults) == sorted((file, row) for file, row, *_ in EXPECTED)


@pytest.mark.parametrize(("file", "row", "column", "found", "remedy"), EXPECTED)
def test_each_fault(
    faults: dict[tuple[str, int], Fault], file: str, row: int, column: str, found: str, remedy: str
) -> None:
    """File, row as a spreadsheet shows it, column, what stands there and what to write instead."""
    fault = faults[file, row]
    assert fault.column == column
    assert found in fault.found
    assert remedy in fault.remedy


def test_the_published_document() -> None:
    """`roster check --json`: ok, counts, faults and warnings of the same form."""
    check = check_files(VECTORS / ROSTER, VECTORS / GROUPS, ZoneInfo("Europe/Berlin"), receivers=FACTS)
    document = check_document(check)
    assert set(document) == {"ok", "transmitters", "holders", "faults", "warnings"}
    assert document["ok"] is False
    assert len(document["faults"]) == len(EXPECTED)
    assert set(document["faults"][0]) == {"file", "row", "column", "found", "remedy"}
    assert all(set(warning) == set(document["faults"][0]) for warning in document["warnings"])
