"""A roster as text and as a workbook say the same, in both directions, and independent readers see what we wrote."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from odf.opendocument import load
from odf.table import Table, TableCell, TableRow
from python_calamine import CalamineWorkbook

from gateway.domain.roster import Entry, Roster
from gateway.errors import Refused
from gateway.ports import ReceiverFacts, RosterPair
from gateway.roster.editing import FileEditor
from gateway.roster.reader import RosterFileReader
from tests.fakes.workbooks import WRITERS, Sheets

READER = RosterFileReader(ZoneInfo("Europe/Berlin"))
FACTS = (ReceiverFacts("slip-gate", {1: "gate", 2: "boat-hoist"}), ReceiverFacts("car-park", {1: "barrier"}))
EDITOR = FileEditor()
FORMS = ("xlsx", "ods")
ROSTER = '''serial;Holder;x boat;kind;group;rights;valid_from;Valid until;note
48231907;Berth 12;Heron;pair;berth-holders;;2026-04-01;2026-10-31;
;;;;;;;;
0048231911;"'=Harbour; office";"two
lines";;;1:slip-gate/gate 2:car-park/barrier;;2026-10-31T18:00;"said ""yes"""
0048231912;'Ha'penny crew;=1+1;;nobody;;;;  05
'''
GROUPS = b"""# who may what
[groups.berth-holders]
slip-gate = { 1 = ["gate", 2], "1+2" = ["boat-hoist"] }
car-park = { 1 = ["1"] }
[groups.nobody]
[kinds.pair]
positions = ["1", "2", "1+2"]
[labels.Slip-Gate]
0048231907 = " B  12"
48231911 = ""
48231912 = "'=x"
"""
PAIR = RosterPair(ROSTER.encode("utf-8-sig"), GROUPS)


def read(pair: RosterPair) -> Roster:
    found = READER.check(pair.roster, pair.groups, FACTS)
    assert found.faults == ()
    assert found.roster is not None
    return found.roster


def meaning(roster: Roster) -> tuple[tuple[Entry, ...], Mapping[str, Any], Mapping[str, Any], Mapping[str, Any]]:
    """All that a roster says; where it stood is no matter."""
    rows = tuple(replace(entry, row=0) for entry in roster.entries)
    labels = {receiver: names for receiver, names in roster.labels.items() if names}
    return rows, {name: set(rights) for name, rights in roster.groups.items()}, roster.kinds, labels


@pytest.mark.parametrize("form", FORMS)
def test_there_and_back_it_is_the_same_roster(form: str) -> None:
    """With groups, kinds, names that receivers keep, own columns, quotes, line ends and what looks like a formula."""
    book = RosterPair(EDITOR.book_form(PAIR, form), None)
    assert meaning(read(book)) == meaning(read(PAIR))
    text = EDITOR.text_form(book, None)
    assert meaning(read(text)) == meaning(read(PAIR))
    rows = list(csv.DictReader(io.StringIO(text.roster.decode(), newline="")))
    assert [row["x boat"] for row in rows] == ["Heron", "two\nlines", "'=1+1"]
    assert rows[0]["serial"] == "0048231907"
    assert tomllib.loads((text.groups or b"").decode())["groups"]["nobody"] == {}
    assert EDITOR.book_form(text, form) == EDITOR.book_form(RosterPair(text.roster, text.groups), form)


def test_openpyxl_and_calamine_read_what_was_written() -> None:
    """Texts that stay texts, days as date cells, a date and time as it stands."""
    data = EDITOR.book_form(PAIR, "xlsx")
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert book.sheetnames == ["roster", "groups", "kinds", "labels"]
    header, first, second, third = book["roster"].iter_rows(values_only=True)
    row = dict(zip(map(str, header), first, strict=True))
    assert (row["serial"], row["Valid until"]) == ("48231907", datetime(2026, 10, 31))
    assert dict(zip(map(str, header), second, strict=True))["Valid until"] == "2026-10-31T18:00"
    assert {cell.data_type for cells in book["roster"].iter_rows(min_row=2) for cell in cells} <= {"s", "d", "n"}
    assert (third[2], book["roster"]["C4"].data_type) == ("=1+1", "s")
    for form in FORMS:
        seen = CalamineWorkbook.from_filelike(io.BytesIO(EDITOR.book_form(PAIR, form)))
        rows = seen.get_sheet_by_name("roster").to_python()
        assert rows[1][7] == date(2026, 10, 31)
        assert ["berth-holders", "slip-gate", "1+2", "boat-hoist"] in seen.get_sheet_by_name("groups").to_python()


def test_odfpy_reads_what_was_written() -> None:
    """No cell has a formula, and a day has the type of a date."""
    document = load(io.BytesIO(EDITOR.book_form(PAIR, "ods")))
    tables = {table.getAttribute("name"): table for table in document.getElementsByType(Table)}
    cells = [cell for row in tables["roster"].getElementsByType(TableRow) for cell in row.getElementsByType(TableCell)]
    assert all(cell.getAttribute("formula") is None for cell in cells)
    dates = [cell.getAttribute("datevalue") for cell in cells if cell.getAttribute("valuetype") == "date"]
    assert dates == ["2026-04-01", "2026-10-31"]


@pytest.mark.parametrize("form", FORMS)
def test_a_workbook_as_people_have_it_becomes_text(form: str) -> None:
    """By openpyxl and odfpy: numbers, date cells, blank rows, a column without a name that is empty."""
    sheets: Sheets = {
        "roster": [
            ["serial", "holder", "group", None, "valid_until", "x_boat"],
            [48231907, "Berth 12", "berth-holders", None, date(2026, 10, 31), 7.5],
            [None],
            ["0048231911", "Harbour office ", "Berth-holders", None, datetime(2026, 10, 31, 18, 0), None],
        ],
        "groups": [
            ["group", "receiver", "position", "outputs"],
            ["berth-holders", "slip-gate", 1, "gate"],
            ["berth-holders", "slip-gate", 1, "2"],
        ],
        "labels": [["receiver", "serial", "label"], ["slip-gate", 48231907, "B 12"], ["slip-gate", "48231911", None]],
    }
    book = RosterPair(WRITERS[form](sheets), None)
    text = EDITOR.text_form(book, None)
    assert meaning(read(text)) == meaning(read(book))
    assert text.roster.decode().splitlines() == [
        "serial,holder,group,valid_until,x_boat",
        "0048231907,Berth 12,berth-holders,2026-10-31,7.5",
        "0048231911,Harbour office,Berth-holders,2026-10-31T18:00:00,",
    ]
    assert (text.groups or b"").startswith(b"[groups.berth-holders]\n")
    assert tomllib.loads((text.groups or b"").decode()) == {
        "groups": {"berth-holders": {"slip-gate": {"1": ["gate", "2"]}}},
        "labels": {"slip-gate": {"0048231907": "B 12", "0048231911": ""}},
    }


def test_groups_beside_a_workbook_stay_as_they_are() -> None:
    """Where it has no such sheet, comments and all."""
    sheets: Sheets = {"roster": [["serial", "holder", "group"], [48231907, "Berth 12", "berth-holders"]]}
    text = EDITOR.text_form(RosterPair(WRITERS["xlsx"](sheets), GROUPS), None)
    assert text.groups == GROUPS
    assert read(text).entries[0].holder == "Berth 12"


def test_groups_that_say_the_same_keep_their_comments() -> None:
    """Out as a workbook, one person changed, and in again: the groups file is not another one for that."""
    book = RosterPair(EDITOR.book_form(PAIR, "xlsx"), None)
    assert EDITOR.text_form(book, PAIR).groups == GROUPS
    other = RosterPair(PAIR.roster, GROUPS.replace(b"B  12", b"B 12"))
    assert EDITOR.text_form(book, other).groups not in (GROUPS, other.groups)


def test_text_and_what_nobody_can_read_stay_as_they_are() -> None:
    """The check says what is wrong with it."""
    for data in (ROSTER.encode(), b"PK\x03\x04rest", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b""):
        pair = RosterPair(data, GROUPS)
        assert EDITOR.text_form(pair, None) is pair


@pytest.mark.parametrize("form", FORMS)
def test_a_character_that_no_workbook_can_hold(form: str) -> None:
    """In a column of one's own, where nothing is checked: refused with the row, never left out unseen."""
    with pytest.raises(Refused, match="control character") as refused:
        EDITOR.book_form(RosterPair(b"serial,holder,x_a,rights\n1,Berth 12,\x07,1:a/b\n", None), form)
    assert refused.value.code == "workbook-unfit"


def test_labels_in_a_sheet_are_checked() -> None:
    """Each place is named; a name in the sheet beside a groups file is refused as groups are."""
    rows = [["serial", "holder", "rights"], ["1", "Berth 12", "1:slip-gate/gate"]]
    labels: list[list[Any]] = [
        ["receiver", "serial", "label"],
        ["slip-gate", "1", "B 12"],
        ["Slip-gate", "0000000001", "B 13"],
        ["", "1", "x"],
        ["slip-gate", "what", "x"],
    ]
    book = WRITERS["ods"]({"roster": rows, "labels": labels})
    faults = READER.check(book, None, FACTS).faults
    assert [(fault.file, fault.row, fault.column) for fault in faults] == [
        ("roster, sheet labels", 3, "serial"),
        ("roster, sheet labels", 4, "receiver"),
        ("roster, sheet labels", 5, "serial"),
    ]
    assert "twice" in faults[0].found
    both = READER.check(book, GROUPS, FACTS).faults[0]
    assert "labels" in both.remedy


TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cf", "Cn", "Co")), min_size=1, max_size=9)
DAYS = st.sampled_from(["", "2026-10-31", "2028-02-29", "2026-10-31T18:00", "2026-10-25 02:30+01:00"])


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(TEXTS, TEXTS, DAYS), min_size=1, max_size=4),
    st.dictionaries(st.integers(1, 4_294_967_295), TEXTS, max_size=3),
    st.sampled_from(FORMS),
)
def test_any_names_and_notes_come_through(rows: list[tuple[str, str, str]], labels: dict[int, str], form: str) -> None:
    """Any text that a good roster can have, as holder, note and name that a receiver keeps."""
    buffer = io.StringIO(newline="")
    out = csv.writer(buffer)
    out.writerow(["serial", "holder", "note", "valid_until", "rights", "x_own"])
    for number, (holder, note, until) in enumerate(rows, 1):
        out.writerow([number, holder, note, until, "1:slip-gate/gate", note])
    quoted = "".join(f"{serial:010d} = {csv_quoted(text)}\n" for serial, text in labels.items())
    pair = RosterPair(buffer.getvalue().encode(), f"[labels.slip-gate]\n{quoted}".encode())
    check = READER.check(pair.roster, pair.groups, FACTS)
    if check.roster is None:
        return
    book = RosterPair(EDITOR.book_form(pair, form), None)
    assert meaning(read(book)) == meaning(check.roster)
    assert meaning(read(EDITOR.text_form(book, None))) == meaning(check.roster)


def csv_quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0.0, strings)."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
