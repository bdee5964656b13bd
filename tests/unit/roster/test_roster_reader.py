"""Whole files: every rule of a row, of the header and of the file's end."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.roster import Fault, Right
from gateway.errors import SettingsFault
from gateway.ports import ReceiverFacts, RosterCheck, RosterReader
from gateway.roster.reader import RosterFileReader

BERLIN = ZoneInfo("Europe/Berlin")
VECTORS = Path(__file__).parents[2] / "vectors" / "rosters"
GROUPS = b'[groups.berth-holders]\nslip-gate = { 1 = ["gate"], 3 = ["boat-hoist"] }\n'
FACTS = (
    ReceiverFacts("slip-gate", {1: "gate", 3: "boat-hoist"}),
    ReceiverFacts("car-park", {1: "barrier"}, positions=2),
)
HEAD = "serial,holder,kind,group,rights,sites,valid_from,valid_until,note\n"


def check(
    text: str | bytes, groups: bytes | None = GROUPS, facts: tuple[ReceiverFacts, ...] | None = None
) -> RosterCheck:
    reader: RosterReader = RosterFileReader(BERLIN)
    return reader.check(text.encode() if isinstance(text, str) else text, groups, facts)


def only_fault(found: RosterCheck) -> Fault:
    assert found.roster is None
    (fault,) = found.faults
    assert fault.found
    assert fault.remedy
    return fault


def only_warning(found: RosterCheck) -> Fault:
    assert found.roster is not None
    (warning,) = found.warnings
    return warning


def test_a_good_file_becomes_a_roster() -> None:
    """Every column of every row, effective rights, counts and the digest of both files."""
    files = (VECTORS / "good.csv").read_bytes(), (VECTORS / "good.toml").read_bytes()
    found = check(*files)
    assert found.faults == found.warnings == ()
    assert (found.transmitters, found.holders) == (4, 3)
    roster = found.roster
    assert roster is not None
    first, second, third, fourth = roster.entries
    assert (first.row, first.serial, first.holder, first.kind) == (2, 48231907, "Berth 12", "four-button")
    assert first.group == "berth-holders"
    assert first.rights == (
        Right("car-park", "1", "barrier"),
        Right("slip-gate", "1", "gate"),
        Right("slip-gate", "1+2", "boat-hoist"),
    )
    assert (first.valid_from, first.valid_until) == (date(2026, 4, 1), date(2026, 10, 31))
    assert (first.sites, first.note) == (("fennel-quay",), "spare kept in office")
    assert second.rights == (Right("car-park", "2", "barrier"), Right("slip-gate", "1", "gate"))
    assert (second.group, second.sites, second.valid_until) == ("", (), None)
    assert third.holder == "Åse Ødegård-Lunde"
    assert third.valid_until == datetime(2026, 12, 24, 17, tzinfo=UTC)
    assert third.note == 'keeps "the old" one, too'
    assert fourth.sites == ("fennel-quay", "north-yard")
    assert roster.digest == hashlib.sha256(files[0] + files[1]).hexdigest()
    assert roster.groups["berth-holders"] == first.rights
    assert roster.kinds["four-button"].positions == ("1", "2", "3", "4", "1+2")


def test_columns_in_any_order_case_and_spacing() -> None:
    """The header is matched without regard to case and blanks; columns of one's own start with `x_`."""
    found = check("Group; Holder ;X_Boat;VALID UNTIL;Serial\nberth-holders;Berth 12;Heron;2026-10-31;48231907\n")
    assert found.roster is not None
    (entry,) = found.roster.entries
    assert (entry.serial, entry.holder, entry.valid_until) == (48231907, "Berth 12", date(2026, 10, 31))


@pytest.mark.parametrize(
    ("header", "column", "found"),
    [
        ("serial,holder,group,valid_til", "valid_til", "unknown column"),
        ("serial,holder,group,Group", "group", "the column group twice: C and D"),
        ("serial,x_name,group,x_b", "holder", "no column holder"),
        ("holder,x_number,group,x_b", "serial", "no column serial"),
        ("serial,holder,note,x_b", "group", "neither a column group nor a column rights"),
        ("serial,holder,group,no\u202ete", "D", "U+202E"),
    ],
)
def test_a_faulty_header(header: str, column: str, found: str) -> None:
    """One fault in row 1, without faults in rows that follow from it."""
    fault = only_fault(check(f"{header}\n48231907,Berth 12,berth-holders,\n"))
    assert (fault.row, fault.column) == (1, column)
    assert found in fault.found


@pytest.mark.parametrize(
    ("text", "row", "found", "remedy"),
    [
        ("Berth list,,\n\nserial,holder,group\n1,a,berth-holders\n", 1, "stand in row 3", "delete rows 1 to 2"),
        ("\nBerth list,2026\nserial,holder,group\n1,a,berth-holders\n", 2, "stand in row 3", "delete rows 1 to 2"),
        ("Berth list\nserial,holder,group\n1,a,berth-holders\n", 1, "stand in row 2", "delete row 1:"),
        ("0048231907,Berth 12,berth-holders\n", 1, 'above "0048231907"', "serial, holder, kind"),
        ("serial|holder|group\n1|a|b\n", 1, "separated by |", "comma, semicolon or tab"),
        ("Berth list\n", 1, 'without column names: "Berth list"', "serial, holder, kind"),
    ],
)
def test_a_first_row_that_names_no_column(text: str, row: int, found: str, remedy: str) -> None:
    """One sentence that says what to do, instead of one about every cell."""
    fault = only_fault(check(text))
    assert (fault.row, fault.column) == (row, "")
    assert found in fault.found
    assert remedy in fault.remedy


def test_a_column_without_a_name_may_only_be_empty() -> None:
    """Text under no header belongs somewhere else."""
    assert check("serial,holder,group,\n1,x,berth-holders,\n").roster is not None
    fault = only_fault(check("serial,holder,group,\n1,x,berth-holders,2026-10-31\n"))
    assert (fault.row, fault.column) == (2, "D")


@pytest.mark.parametrize("data", ["", "\n\n", " \r\n", "\ufeff", "serial,holder,group\n", "serial,holder,group\n,,\n"])
def test_a_file_without_rows_is_refused(data: str) -> None:
    """Rule 4: an empty file never empties a receiver."""
    fault = only_fault(check(data))
    assert fault.row == 0


def test_blank_rows_are_skipped_and_counted() -> None:
    """Row numbers are those that a spreadsheet shows, after blank rows and cells with line breaks too."""
    found = check('serial,holder,group,note\n,,,\n1,a,berth-holders,"two\nlines"\n\n2,b,nobody,\n')
    fault = only_fault(found)
    assert (fault.row, fault.column) == (5, "group")


def test_short_rows_are_filled_and_a_cut_last_row_is_refused() -> None:
    """Spreadsheets leave out trailing separators; a last row without them and without a line end was cut."""
    assert check(HEAD + "48231907,Berth 12,,berth-holders\n").roster is not None
    fault = only_fault(check(HEAD + "1,a,,berth-holders,,,,,\n48231907,Berth 12,,berth-holders"))
    assert (fault.row, fault.column) == (3, "group")
    assert "cut" in fault.found


def test_a_missing_last_line_end_alone_is_fine() -> None:
    """The row is whole; where the last cell carries a meaning of its own, a warning says so."""
    whole = check(HEAD + "1,a,,berth-holders,,,,,")
    assert whole.roster is not None
    assert whole.warnings == ()
    assert only_warning(check("serial,holder,group\n1,a,berth-holders")).column == "group"


def test_a_serial_that_may_be_cut_is_refused() -> None:
    """`00482` as the very last characters could be another transmitter's first digits."""
    assert only_fault(check("holder,group,serial\nBerth 12,berth-holders,00482")).column == "serial"
    assert check("holder,group,serial\nBerth 12,berth-holders,0048231907").roster is not None
    assert check("holder,group,serial\nBerth 12,berth-holders,48231907\n").roster is not None


def test_the_same_serial_with_other_text_is_a_fault() -> None:
    """The fault names the other row; zeros that were lost don't hide it."""
    fault = only_fault(check(HEAD + "0048231907,a,,berth-holders,,,,,\n48231907,b,,berth-holders,,,,,\n"))
    assert (fault.row, fault.column) == (3, "serial")
    assert "row 2" in fault.found
    assert '"a"' in fault.remedy


def test_the_same_row_twice_counts_once() -> None:
    """Two rows that say the same have one reading: a warning."""
    found = check(HEAD + "0048231907,a,,berth-holders,,,,,\n48231907, a ,,berth-holders,,,,,\n")
    assert only_warning(found).row == 3
    assert found.transmitters == 1


def test_rights_of_a_row_replace_its_group() -> None:
    """With both, the row's own rights count and the group stays named."""
    found = check(HEAD + "1,a,,berth-holders,1:car-park/barrier,,,,\n")
    assert found.roster is not None
    assert found.roster.entries[0].rights == (Right("car-park", "1", "barrier"),)
    assert found.roster.entries[0].group == "berth-holders"


def test_neither_group_nor_rights_is_a_fault() -> None:
    """Nobody is in the file by accident."""
    assert only_fault(check(HEAD + "1,a,,,,,,,\n")).column == "group"
    assert only_fault(check("serial,holder,rights\n1,a,\n")).column == "rights"


def test_unknown_groups_and_kinds_bring_near_matches() -> None:
    """A typing error is answered with what was probably meant."""
    assert 'did you mean "berth-holders"' in only_fault(check(HEAD + "1,a,,berth-holder,,,,,\n")).remedy
    assert 'did you mean "two-button"' in only_fault(check(HEAD + "1,a,too-button,berth-holders,,,,,\n")).remedy


def test_groups_are_found_whatever_their_case() -> None:
    """`Berth-Holders` and `TWO-BUTTON` have one reading."""
    found = check(HEAD + "1,a,EIGHT-Button,Berth-Holders,,,,,\n")
    assert found.roster is not None
    assert (found.roster.entries[0].kind, found.roster.entries[0].group) == ("eight-button", "berth-holders")


def test_without_a_groups_file() -> None:
    """No groups file is fine for a roster without groups, and a fault where one is named."""
    assert check(HEAD + "1,a,,,1:slip-gate/gate,,,,\n", None).roster is not None
    fault = only_fault(check(HEAD + "1,a,,berth-holders,,,,,\n", None))
    assert "groups file" in fault.remedy


def test_a_broken_groups_file_is_told_once() -> None:
    """Its syntax fault is not repeated as an unknown group and kind in every row."""
    fault = only_fault(check(HEAD + "1,a,six-button,berth-holders,,,,,\n", b"[groups.berth-holders\n"))
    assert (fault.file, fault.row) == ("groups", 1)


def test_rights_beyond_the_kind_are_left_out_with_a_warning() -> None:
    """The group's position 3 is nothing to a transmitter with two buttons."""
    found = check(HEAD + "1,a,two-button,berth-holders,,,,,\n")
    warning = only_warning(found)
    assert (warning.row, warning.column) == (2, "group")
    assert "3:slip-gate/boat-hoist" in warning.found
    assert found.roster is not None
    assert found.roster.entries[0].rights == (Right("slip-gate", "1", "gate"),)


def test_a_transmitter_that_is_left_with_nothing() -> None:
    """The warning says so."""
    found = check(HEAD + "1,a,one-button,,2:slip-gate/gate,,,,\n")
    assert "nothing is left" in only_warning(found).remedy
    assert found.roster is not None
    assert found.roster.entries[0].rights == ()


def test_rights_beyond_a_receivers_positions_are_left_out() -> None:
    """This receiver's memory knows two positions."""
    found = check(HEAD + "1,a,,,1:car-park/barrier 3:car-park/barrier,,,,\n", None, FACTS)
    assert "3:car-park/barrier" in only_warning(found).found


def test_receivers_and_outputs_against_the_facts() -> None:
    """Unknown receiver: a warning with near matches. Unknown output of a known one: a fault."""
    warning = only_warning(check(HEAD + "1,a,,,1:slip-gat/gate,,,,\n", None, FACTS))
    assert 'did you mean "slip-gate"' in warning.remedy
    fault = only_fault(check(HEAD + "1,a,,,1:slip-gate/2,,,,\n", None, FACTS))
    assert "1 (gate), 3 (boat-hoist)" in fault.remedy
    assert check(HEAD + "1,a,,,1:Slip-Gate/3 1:slip-gate/GATE,,,,\n", None, FACTS).warnings == ()


def test_midnight_as_an_end_is_doubtful() -> None:
    """Programs turn a date cell into midnight, which ends a day earlier: a warning with the date."""
    warning = only_warning(check(HEAD + "1,a,,berth-holders,,,,2026-10-31 00:00:00,\n"))
    assert (warning.column, warning.remedy) == ("valid_until", "write 2026-10-31 if the whole day is meant")


def test_an_end_before_the_start() -> None:
    """Nobody is valid for no time at all."""
    fault = only_fault(check(HEAD + "1,a,,berth-holders,,,2026-10-31,2026-04-01,\n"))
    assert fault.column == "valid_until"


def test_names_that_a_spreadsheet_would_compute() -> None:
    """A guarded name comes back as it was; an apostrophe before serial or date is the spreadsheet's."""
    found = check(HEAD + "'0048231907,'-Heron,,berth-holders,,,'2026-04-01,,'=1+1\n")
    assert found.roster is not None
    (entry,) = found.roster.entries
    assert (entry.holder, entry.note, entry.valid_from) == ("-Heron", "=1+1", date(2026, 4, 1))


def test_undecodable_bytes_are_told_once_with_row_and_column() -> None:
    """A file in a national encoding: the first place, how many more, and how to save it; other faults too."""
    text = HEAD + "1,Åse,,berth-holders,,,,,\n2,Ødegård,,berth-holders,,,,,\n0,x,,berth-holders,,,,,\n"
    found = check(text.encode("cp1252"))
    first, second = found.faults
    assert (first.row, first.column) == (2, "holder")
    assert "0xC5" in first.found
    assert "1 more" in first.found
    assert "UTF-8" in first.remedy
    assert (second.row, second.column) == (4, "serial")


def test_the_configured_encoding_reads_the_same_file() -> None:
    """With a fallback named the national file is read right; a name that is no encoding is refused at once."""
    text = HEAD + "1,Åse,,berth-holders,,,,,\n"
    found = RosterFileReader(BERLIN, "cp1252").check(text.encode("cp1252"), GROUPS, None)
    assert found.roster is not None
    assert found.roster.entries[0].holder == "Åse"
    for name in ("cp1253x", "base64"):
        with pytest.raises(SettingsFault):
            RosterFileReader(BERLIN, name)


def test_sites_are_separated_by_blanks() -> None:
    """A comma between sites is refused."""
    assert only_fault(check(HEAD + '1,a,,berth-holders,,"fennel-quay,north-yard",,,\n')).column == "sites"


def test_faults_carry_the_files_short_names() -> None:
    """People see which of the two files is meant."""
    reader = RosterFileReader(BERLIN, roster_name="people.csv", groups_name="rights.toml")
    found = reader.check(b"serial,holder,group\n0,a,b\n", b"[groups.b]\nx = 1\n", None)
    assert [fault.file for fault in found.faults] == ["people.csv", "rights.toml"]


def test_five_thousand_rows() -> None:
    """A large site's whole roster; tests/benchmarks/reading_bench.py says how long it takes."""
    row = "{:010d},Bërth {},four-button,berth-holders,,fennel-quay,2026-04-01,2026-10-31T18:00,spare kept\n"
    text = HEAD + "".join(row.format(48_000_000 + 7 * n, n) for n in range(5000))
    found = check(text)
    assert (found.transmitters, found.holders) == (5000, 5000)
    assert found.roster is not None


def test_a_note_that_is_the_same_in_many_rows_is_said_once() -> None:
    """With the rows: a file that sites share names the others' receivers in every row."""
    rows = "".join(f"{n},Berth {n},1:north-gate/gate\n" for n in range(1, 15))
    (note,) = check(f"serial,holder,rights\n{rows}", None, FACTS).warnings
    assert (note.row, note.column) == (2, "rights")
    many = "(in rows 3, 4, 5, 6, 7, 8, 9, 10, 11, 12 and 3 more too)"
    assert note.found == f'the receiver "north-gate", which this site does not have {many}'
    rows = "1,a,1:north-gate/gate 2:north-gate/gate\n2,b,1:north-gate/gate\n"
    (two,) = check(f"serial,holder,rights\n{rows}", None, FACTS).warnings
    assert two.found.endswith("(in row 3 too)")
