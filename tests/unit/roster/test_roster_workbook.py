"""Workbooks: every kind of cell, where sheets stand, and all that is no workbook or a hostile one.

The workbooks are written by openpyxl and odfpy; python-calamine is the second opinion on what they hold.
"""

from __future__ import annotations

import io
import random
import tracemalloc
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from python_calamine import CalamineWorkbook

from gateway.domain.roster import Fault, Right
from gateway.ports import RosterCheck
from gateway.roster.cells import Wrong
from gateway.roster.reader import RosterFileReader
from gateway.roster.workbook import Workbook, read_workbook
from tests.fakes.workbooks import WRITERS, Cell, Sheets, raw_xlsx, swap_part, write_ods, write_xlsx

HEAD: list[Cell] = ["serial", "holder", "group", "rights", "valid_from", "valid_until", "note"]
RIGHT = "1:slip-gate/gate"
READER = RosterFileReader(ZoneInfo("Europe/Berlin"), roster_name="people.xlsx")
Write = Callable[[Sheets], bytes]


@pytest.fixture(params=sorted(WRITERS))
def write(request: pytest.FixtureRequest) -> Write:
    return WRITERS[str(request.param)]


def check(data: bytes, groups: bytes | None = None) -> RosterCheck:
    return READER.check(data, groups, None)


def row(**cells: Cell) -> list[Cell]:
    """One whole row; what isn't said is as it should be."""
    said = {"serial": "0048231907", "holder": "Berth 12", "rights": RIGHT, **cells}
    return [said.get(str(name)) for name in HEAD]


def only_fault(found: RosterCheck) -> Fault:
    assert found.roster is None
    (fault,) = found.faults
    assert fault.found
    assert fault.remedy
    return fault


# --- cells ------------------------------------------------------------------------------------------------


def test_typed_cells_become_what_they_mean(write: Write) -> None:
    """Numbers exactly, lost zeros restored, date cells as dates, dates with a time as site times."""
    rows = [
        HEAD,
        row(serial=48231907, holder=12, valid_from=date(2026, 4, 1), valid_until=datetime(2026, 10, 31, 18)),
        row(serial="48231911", note=date(2026, 3, 2)),
    ]
    found = check(write({"people": rows}))
    assert found.faults == ()
    assert found.roster is not None
    first, second = found.roster.entries
    assert (first.row, first.serial, first.holder) == (2, 48231907, "12")
    assert first.valid_from == date(2026, 4, 1)
    assert first.valid_until == datetime.fromisoformat("2026-10-31T18:00+01:00")
    assert (second.row, second.note) == (3, "2026-03-02")


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("serial", 48231907.5, "not whole"),
        ("serial", 4823190712345678, "rounded"),
        ("serial", date(2026, 4, 1), "date cell"),
        ("serial", 4.82e12, "13 digits"),
        ("serial", 0, "0 is no transmitter"),
        ("holder", True, "logical value TRUE"),
        ("holder", date(2026, 12, 1), "made of what was typed"),
        ("holder", time(1, 30), "time of day"),
        ("valid_until", 46326, "day number"),
        ("valid_until", 46326.75, "not whole"),
        ("valid_until", time(18, 0), "time of day"),
        ("valid_until", "31/12/2026", "31/12/2026"),
        ("holder", '=A1&"x"', "formula without its result"),
        ("valid_until", "=DATE(2026;1;1)", "formula without its result"),
        ("rights", '="1:slip"', "formula without its result"),
    ],
)
def test_cells_that_have_no_single_reading(write: Write, column: str, value: Cell, words: str) -> None:
    """Refused at the row and column that the spreadsheet shows, and with what to write instead."""
    cells = row(serial="0048231911")
    found = check(write({"people": [HEAD, row(serial="7"), [], [None] * 7, row(**{column: value}), cells]}))
    fault = only_fault(found)
    assert (fault.row, fault.column) == (5, column)
    assert words in fault.found + fault.remedy


def test_own_columns_may_hold_anything(write: Write) -> None:
    """A price or a failed formula in `x_price` is nobody's business."""
    rows = [[*HEAD, "x_price"], [*row(), 12.5], [*row(serial="1"), True], [*row(serial="2"), "=1+1"]]
    assert check(write({"people": rows})).transmitters == 3


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ('<c r="F2" t="e"><f>VLOOKUP()</f><v>#N/A</v></c>', "the spreadsheet error #N/A"),
        ('<c r="F2"><f>DATE(2026,1,1)</f></c>', "a formula without its result"),
        ('<c r="F2" t="d"><v>soon</v></c>', '"soon"'),
        ('<c r="F2" t="n"><v>rubbish</v></c>', "a damaged workbook"),
        ('<c r="F2" t="zz"><v>2026</v></c>', 'an unknown type "zz"'),
        ('<c r="F2" t="n"><f>TODAY()</f><v></v></c>', "a formula without its result"),
        ('<c r="F2" t="s"><v>0</v></c>', "text number '0', which does not exist"),
        ('<c r="F3" t="n"><v>1</v></c>', "placed at 'F3'"),
        ('<c r="f2" t="n"><v>1</v></c>', "placed at 'f2'"),
    ],
)
def test_cells_that_must_not_look_empty(cell: str, found: str) -> None:
    """An end date that can't be read must never become no end date (ECMA-376 Part 1, 18.18.11)."""
    fault = only_fault(check(raw_xlsx(_raw_rows(cell))))
    assert found in fault.found


def test_a_formula_with_its_result() -> None:
    """What the spreadsheet calculated and kept counts, text and number alike."""
    cell = '<c r="F2" t="str"><f>TEXT(X1,"yyyy")</f><v>2026-10-31</v></c>'
    found = check(raw_xlsx(_raw_rows(cell)))
    assert found.roster is not None
    assert found.roster.entries[0].valid_until == date(2026, 10, 31)


def _raw_rows(cell: str) -> str:
    def text(place: str, value: str) -> str:
        return f'<c r="{place}" t="inlineStr"><is><t>{value}</t></is></c>'

    head = "".join(text(f"{chr(65 + n)}1", str(name)) for n, name in enumerate(HEAD))
    body = text("A2", "0048231907") + text("B2", "Berth 12") + text("D2", RIGHT) + cell
    return f'<row r="1">{head}</row><row r="2">{body}</row>'


def test_texts_that_are_shared_and_rich() -> None:
    """Runs come together, reading aids don't, `_x000A_` is its character (ECMA-376 Part 1, 18.4.8, 22.9.2.19)."""
    texts = (
        "<si><t>Berth</t></si><si><r><t>Berth </t></r><r><t>12</t></r><rPh><t>x</t></rPh></si><si/>"
        "<si><t>a_x000A_b _x202E_</t></si>"
    )
    shared = f'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{texts}</sst>'.encode()
    second = '<c r="B2" t="s"><v>1</v></c><c r="F2" t="s"><v>2</v></c>'
    found = check(raw_xlsx(_raw_rows(second), extra={"xl/sharedStrings.xml": shared}))
    assert found.roster is not None
    assert (found.roster.entries[0].holder, found.roster.entries[0].valid_until) == ("Berth 12", None)
    fault = only_fault(
        check(raw_xlsx(_raw_rows('<c r="G2" t="s"><v>3</v></c>'), extra={"xl/sharedStrings.xml": shared}))
    )
    assert "U+202E" in fault.found


@pytest.mark.parametrize(
    ("code", "value", "expected"),
    [
        ("yyyy-mm-dd", "46326", "2026-10-31"),
        ('dd"."mm"."yy', "46326.75", "2026-10-31T18:00:00"),
        ("[$-407]d. mmmm yyyy;@", "46326", "2026-10-31"),
        ("[h]:mm", "46326.75", "2026-10-31T18:00:00"),
        ("0000000000", "48231907", "48231907"),
        ('0" days"', "12", "12"),
        ("[Red]0", "12", "12"),
        (r"0\d", "12", "12"),
        ("General", "12", "12"),
        ("0.00E+00", "48231907", "48231907"),
        ("#,##0", "48231907", "48231907"),
    ],
)
def test_the_number_format_makes_a_date(code: str, value: str, expected: str) -> None:
    """As ECMA-376 Part 1, 18.8.31 describes format codes: what is quoted, escaped or in brackets is no date."""
    escaped = code.replace('"', "&quot;")
    styles = (
        '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts>'
        f'<numFmt numFmtId="164" formatCode="{escaped}"/></numFmts><cellStyleXfs><xf numFmtId="14"/></cellStyleXfs>'
        '<cellXfs><xf numFmtId="0"/><xf numFmtId="164"/><xf numFmtId="14"/></cellXfs></styleSheet>'
    ).encode()
    cells = f'<row><c s="1"><v>{value}</v></c><c s="2"><v>46326</v></c><c s="0"><v>46326</v></c></row>'
    book = read_workbook(raw_xlsx(cells, extra={"xl/styles.xml": styles}))
    assert isinstance(book, Workbook)
    assert book.roster.rows[0].cells == (expected, "2026-10-31", "46326")


@pytest.mark.parametrize("from_1904", [False, True])
def test_an_independent_library_reads_the_same(from_1904: bool) -> None:
    """python-calamine's values of the same files, for texts, numbers, days and times."""
    rows = [HEAD, row(serial=48231907, valid_from=date(2026, 4, 1), valid_until=datetime(2026, 10, 31, 17, 35)), row()]
    for data in (write_xlsx({"a": rows}, from_1904=from_1904), write_ods({"a": rows})):
        book = read_workbook(data)
        assert isinstance(book, Workbook)
        theirs = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_index(0).to_python()
        for ours, others in zip(book.roster.rows, theirs, strict=True):
            texts = [_as_text(value) for value in others]
            assert list(ours.cells) + [""] * (len(texts) - len(ours.cells)) == texts


def _as_text(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    return str(int(value)) if isinstance(value, float) else str(value)


def test_dates_that_count_from_1904() -> None:
    """The workbook says from when its days count; the date that people see is the one that is read."""
    rows = [HEAD, row(valid_until=date(2026, 10, 31))]
    found = check(write_xlsx({"people": rows}, from_1904=True))
    assert found.roster is not None
    assert found.roster.entries[0].valid_until == date(2026, 10, 31)


def test_row_numbers_are_the_spreadsheets(write: Write) -> None:
    """Rows above the header and blank ones count (common practice, no source)."""
    rows: list[list[Cell]] = [[], [], [*HEAD], [], row(serial="0"), []]
    assert only_fault(check(write({"people": rows}))).row == 5


# --- sheets -----------------------------------------------------------------------------------------------

GROUP_ROWS: list[list[Cell]] = [
    ["Group", "RECEIVER", "position", "outputs", "x_why"],
    ["berth-holders", "slip-gate", 1, "gate", 1.5],
    ["berth-holders", "slip-gate", "1+2", "boat-hoist 2", None],
    ["berth-holders", "car-park", 1.0, 1, None],
    [],
    ["nobody", None, None, None, None],
]
KIND_ROWS: list[list[Cell]] = [["kind", "positions"], ["four-button", "1 2 3 4 1+2"], ["bell-push", 1]]
GROUPED: list[list[Cell]] = [
    ["serial", "holder", "kind", "group"],
    ["1", "a", "four-button", "berth-holders"],
    ["2", "b", "", "nobody"],
]


def test_groups_and_kinds_from_sheets(write: Write) -> None:
    """Sheets named `groups` and `kinds`, wherever they stand behind the first one, replace the TOML file."""
    found = check(write({"people": GROUPED, "old": [["x"]], "kinds": KIND_ROWS, "Groups ": GROUP_ROWS}))
    assert found.faults == found.warnings == ()
    assert found.roster is not None
    rights = (
        Right("car-park", "1", "1"),
        Right("slip-gate", "1", "gate"),
        Right("slip-gate", "1+2", "2"),
        Right("slip-gate", "1+2", "boat-hoist"),
    )
    assert found.roster.groups == {"berth-holders": rights, "nobody": ()}
    assert found.roster.entries[0].rights == rights
    assert found.roster.kinds["four-button"].positions == ("1", "2", "3", "4", "1+2")
    assert found.roster.kinds["bell-push"].positions == ("1",)


@pytest.mark.parametrize(
    ("rows", "place", "words"),
    [
        ([["group", "receiver", "position"]], (1, "outputs"), "no column outputs"),
        ([[*GROUP_ROWS[0], "colour"]], (1, "colour"), "unknown column"),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", "9", "gate"]], (2, "position"), 'the position "9"'),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", 1.3, "gate"]], (2, "position"), "not whole"),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", date(2026, 1, 2), "gate"]], (2, "position"), "date cell"),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", 1, "gate,light"]], (2, "outputs"), '"gate,light"'),
        ([GROUP_ROWS[0][:4], ["a", "slip gate", 1, "gate"]], (2, "receiver"), '"slip gate"'),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", 1, None]], (2, "outputs"), "no outputs"),
        ([GROUP_ROWS[0][:4], [None, "slip-gate", 1, "gate"]], (2, "group"), "no group"),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", 1, "=1"]], (2, "outputs"), "formula"),
        ([GROUP_ROWS[0][:4], ["a", "slip-gate", 1, "gate", "more"]], (2, "E"), "beyond the last column"),
    ],
)
def test_faults_in_the_groups_sheet(write: Write, rows: list[list[Cell]], place: tuple[int, str], words: str) -> None:
    """Each with the sheet, the row and the column; no row of the roster is blamed for it."""
    people = [["serial", "holder", "group"], ["1", "a", "a"]]
    fault = only_fault(check(write({"people": people, "groups": rows})))
    assert (fault.file, fault.row, fault.column) == ("people.xlsx, sheet groups", *place)
    assert words in fault.found


def test_groups_stand_in_one_place(write: Write) -> None:
    """A groups file beside a workbook with groups of its own leaves two answers; without one the file counts."""
    toml = b'[groups.berth-holders]\nslip-gate = { 1 = ["gate"] }\n'
    people = [["serial", "holder", "group"], ["1", "a", "berth-holders"]]
    assert check(write({"people": people}), toml).transmitters == 1
    fault = only_fault(check(write({"people": people, "groups": GROUP_ROWS}), toml))
    assert "too" in fault.found
    assert "TOML" in only_fault(check(b"serial,holder,rights\n1,a,1:a/b\n", write({"groups": GROUP_ROWS}))).found


def test_the_first_sheet_is_the_roster(write: Write) -> None:
    """One that is named like a helper sheet, is empty or is hidden is refused with what to do."""
    people: list[list[Cell]] = [HEAD, row()]
    assert check(write({"a": people, "b": [["serial"], ["rubbish"]]})).transmitters == 1
    assert "move the sheet" in only_fault(check(write({"groups": GROUP_ROWS, "people": people}))).remedy
    assert only_fault(check(write({"a": [], "people": people}))).found == "no rows"
    assert "delete one" in only_fault(check(write({"a": people, "groups": [], "GROUPS ": []}))).remedy
    assert "hidden" in only_fault(check(write_xlsx({"a": people, "b": []}, hidden=["a"]))).found


# --- what is no workbook, or a hostile one ------------------------------------------------------------------

GOOD = {
    form: write({"people": [HEAD, row(), row(serial="2")], "groups": GROUP_ROWS}) for form, write in WRITERS.items()
}


def _zip(**parts: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return file.getvalue()


def _locked(data: bytes) -> bytes:
    """The same archive with the encryption bit set everywhere (APPNOTE 4.4.4)."""
    changed = bytearray(data)
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        start = data.find(signature)
        while start >= 0:
            changed[start + offset] |= 1
            start = data.find(signature, start + 1)
    return bytes(changed)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000), "old binary form"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"), "protected by a password"),
        (_locked(GOOD["xlsx"]), "protected by a password"),
        (swap_part(GOOD["ods"], "META-INF/manifest.xml", lambda _: b"<x><encryption-data/></x>"), "by a password"),
        (_zip(**{"xl/workbook.bin": b"x"}), "XLSB"),
        (_zip(**{"readme.txt": b"x"}), "a ZIP file that is no"),
        (swap_part(GOOD["ods"], "mimetype", lambda _: b"application/vnd.oasis.opendocument.text"), "no spreadsheet"),
        (GOOD["xlsx"][:-500], "it may have been cut"),
        (GOOD["ods"][: len(GOOD["ods"]) // 2], "it may have been cut"),
        (swap_part(GOOD["xlsx"], "xl/worksheets/sheet1.xml", None), "is missing"),
        (swap_part(GOOD["xlsx"], "xl/worksheets/sheet1.xml", lambda x: x[:-20]), "is no XML"),
        (swap_part(GOOD["xlsx"], "xl/_rels/workbook.xml.rels", None), "is missing"),
        (swap_part(GOOD["xlsx"], "xl/workbook.xml", lambda x: x + b" " * (2 << 20)), "larger than"),
        (swap_part(GOOD["ods"], "content.xml", lambda x: x[:-20]), "is no XML"),
        (
            swap_part(GOOD["ods"], "content.xml", lambda x: x.replace(b"UTF-8", b"hex").replace(b"utf-8", b"hex")),
            "encod",
        ),
        (swap_part(GOOD["ods"], "content.xml", lambda x: b"<!DOCTYPE a [<!ENTITY b 'c'>]>" + x), "is no XML|document"),
        (b"PK\x03\x04" + bytes(200), "directory can't be read"),
        (b"PK\x03\x04" + b"PK\x01\x02" * 6000, "more than 5000 parts"),
    ],
)
def test_files_that_are_refused_as_a_whole(data: bytes, words: str) -> None:
    """With a sentence, and without any other fault."""
    fault = only_fault(check(data))
    assert fault.row == 0
    assert any(word in fault.found for word in words.split("|")), fault.found


def test_the_name_of_a_file_means_nothing(write: Write, tmp_path: Path) -> None:
    """A CSV named .xlsx and a workbook named .csv are read as what they are."""
    rows = [HEAD, row()]
    text = "\n".join(",".join(str(cell or "") for cell in line) for line in rows) + "\n"
    found = [check(data).roster for data in (text.encode(), write({"people": rows}))]
    assert found[0] is not None
    assert found[1] is not None
    assert found[0].entries == found[1].entries


def _bomb(part: str, size: int) -> bytes:
    return raw_xlsx(_raw_rows(""), extra={part: bytes(size)})


def test_bombs_never_unfold() -> None:
    """60 MiB of zeros in a part that is needed are refused; in one that nobody needs they are never unpacked."""
    harmless, harmful = _bomb("xl/media/picture.png", 60 << 20), _bomb("xl/sharedStrings.xml", 60 << 20)
    assert len(harmful) < 100_000
    tracemalloc.start()
    try:
        assert check(harmless).transmitters == 1
        assert tracemalloc.get_traced_memory()[1] < 4 << 20
    finally:
        tracemalloc.stop()
    assert "more than 48 MiB" in only_fault(check(harmful)).found


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (raw_xlsx('<row><c><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'), "25000"),
        (raw_xlsx('<row r="1"><c r="A1"><v>1</v></c><c r="XFD1"><v>1</v></c></row>'), "column 16384"),
        (raw_xlsx("".join(f'<row r="{n}">{"<c><v>1</v></c>" * 250}</row>' for n in range(1, 1002))), "250000 filled"),
        (raw_xlsx('<row r="99999999999999999999"><c><v>1</v></c></row>'), "a row numbered"),
        (
            swap_part(write_ods({"a": [["x"]]}), "content.xml", lambda x: x.replace(b'office:value-type="string"',
                b'office:value-type="string" table:number-columns-repeated="16384"')),
            "column 16384",
        ),
        (
            swap_part(write_ods({"a": [["x"]]}), "content.xml", lambda x: x.replace(b"<table:table-row>",
                b'<table:table-row table:number-rows-repeated="1048576">')),
            "at most 25000",
        ),
    ],
)  # fmt: skip
def test_sheets_that_pretend_to_be_huge(data: bytes, words: str) -> None:
    """A rectangle of 17 milliard cells between two of them is never reserved."""
    assert words in only_fault(check(data)).found


@pytest.mark.parametrize("form", sorted(GOOD))
def test_any_byte_changed_or_any_part_cut(form: str) -> None:
    """Nothing crashes, and what is read without a fault has no serial that wasn't in the file."""
    chance = random.Random(20261125)
    for _ in range(150):
        data = bytearray(GOOD[form])
        for _ in range(chance.choice([1, 1, 1, 5])):
            data[chance.randrange(4, len(data))] = chance.randrange(256)
        found = check(bytes(data[: chance.choice([len(data), chance.randrange(len(data))])]))
        assert (found.roster is None) == bool(found.faults)
        serials = {entry.serial for entry in found.roster.entries} if found.roster else set()
        assert serials <= {48231907, 2}


@given(st.binary(max_size=200))
@settings(deadline=None)
def test_rubbish_that_begins_like_a_workbook(rubbish: bytes) -> None:
    """Refused with a sentence."""
    for start in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"):
        assert isinstance(read_workbook(start + rubbish), Wrong)


@pytest.mark.parametrize("form", sorted(WRITERS))
def test_a_cover_sheet_before_the_roster(form: str) -> None:
    """Told in one sentence: the first sheet is the roster."""
    sheets: Sheets = {"Cover": [["Fennel Quay"]], "roster": [["serial", "holder", "rights"], [1, "a", "1:a/b"]]}
    fault = only_fault(check(WRITERS[form](sheets)))
    assert "move it to the front" in fault.remedy
