"""A good roster, mangled in every way that spreadsheets and people know: the same roster or a refusal.

Never a third thing: whatever comes out without a fault says, for every serial, exactly what the good file says.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.roster import Entry
from gateway.ports import RosterCheck
from gateway.roster.reader import RosterFileReader
from tests.fakes.workbooks import WRITERS, Cell

VECTORS = Path(__file__).parents[2] / "vectors" / "rosters"
GROUPS = (VECTORS / "good.toml").read_bytes()
GOOD = (VECTORS / "good.csv").read_bytes()
TABLE = list(csv.reader(io.StringIO(GOOD.decode(), newline="")))
READER = RosterFileReader(ZoneInfo("Europe/Berlin"))

Rows = list[list[str]]


def people(check: RosterCheck) -> dict[int, Entry] | None:
    """What a roster says about each serial, wherever its row stands; None when it was refused."""
    if check.roster is None:
        assert check.faults
        return None
    return {entry.serial: replace(entry, row=0) for entry in check.roster.entries}


EXPECTED = people(READER.check(GOOD, GROUPS, None))
assert EXPECTED is not None


def _column(rows: Rows, name: str, change: Callable[[str], str]) -> Rows:
    """Change a column, unless another mangling has hidden it already."""
    if name not in rows[0]:
        return rows
    place = rows[0].index(name)
    body = [[change(cell) if i == place else cell for i, cell in enumerate(row)] for row in rows[1:]]
    return [rows[0], *body]


def _serials(rows: Rows, change: Callable[[str], str]) -> Rows:
    return _column(rows, "serial", lambda text: change(text) if text.isdigit() else text)


def _european(text: str) -> str:
    """`2026-10-31` as `31/12/2026` is written."""
    return "/".join(reversed(text.split("-"))) if len(text) == 10 else text


def _american(text: str) -> str:
    year, _, rest = text.partition("-")
    return f"{rest.replace('-', '/')}/{year}" if len(text) == 10 else text


def _dashed(text: str) -> str:
    return text.replace("-", "\u2013")


#: Manglings that leave one reading: the same roster must come out.
HARMLESS: dict[str, Callable[[Rows], Rows]] = {
    "lost zeros": lambda rows: _serials(rows, lambda text: str(int(text))),
    "numbers with a decimal": lambda rows: _serials(rows, lambda text: f"{int(text)}.0"),
    "blanks between thousands": lambda rows: _serials(rows, lambda text: f"{int(text):,}".replace(",", " ")),
    "text formulas": lambda rows: _serials(rows, lambda text: f'="{text}"'),
    "apostrophes": lambda rows: _serials(rows, lambda text: f"'{text}"),
    "stray blanks": lambda rows: [[f"  {cell} " for cell in row] for row in rows],
    "no-break blanks": lambda rows: [[f"\u00a0{cell}".replace(" ", "\u00a0") for cell in row] for row in rows],
    "byte-order marks inside": lambda rows: [[f"\ufeff{cell}" for cell in row] for row in rows],
    "soft hyphens": lambda rows: [[f"{cell[:2]}\u00ad{cell[2:]}" for cell in row] for row in rows],
    "a word processor's dashes": lambda rows: _column(_column(rows, "rights", _dashed), "sites", _dashed),
    "empty rows": lambda rows: [rows[0], [], *[part for row in rows[1:] for part in (row, [""] * len(row))], []],
    "columns turned round": lambda rows: [row[::-1] for row in rows],
    "header in capitals": lambda rows: [[cell.upper() for cell in rows[0]], *rows[1:]],
    "header in words": lambda rows: [[cell.replace("_", " ").title() for cell in rows[0]], *rows[1:]],
    "own columns": lambda rows: [
        [*rows[0], "X_boat"],
        *[[*row, "Heron" if any(map(str.isalnum, "".join(row))) else ""] for row in rows[1:]],
    ],
    "rows turned round": lambda rows: [rows[0], *rows[:0:-1]],
    "people entered twice": lambda rows: [*rows, *rows[1:]],
    "an empty column": lambda rows: [[*row, ""] for row in rows],
    "decomposed letters": lambda rows: [
        [cell.replace("Å", "A\u030a").replace("å", "a\u030a") for cell in r] for r in rows
    ],
}

#: Manglings that lose something, or leave two readings: refused.
HARMFUL: dict[str, Callable[[Rows], Rows]] = {
    "rounded serials": lambda rows: _serials(rows, lambda text: f"{int(text):.2E}"),
    "dates day first": lambda rows: _column(rows, "valid_until", _european),
    "dates month first": lambda rows: _column(rows, "valid_from", _american),
    "dates as day numbers": lambda rows: _column(rows, "valid_from", lambda text: text and "46113"),
    "letters lost": lambda rows: [[cell.replace("Å", "\ufffd") for cell in row] for row in rows],
    "failed formulas": lambda rows: _column(rows, "group", lambda text: text and "#N/A"),
    "a column without a name": lambda rows: [["", *rows[0][1:]], *rows[1:]],
    "a column twice": lambda rows: [[*row, row[7]] for row in rows],
    "one person, two rows": lambda rows: [*rows, [rows[1][0], "Somebody else", *rows[1][2:]]],
    "cells moved to the right": lambda rows: [rows[0], *[["", *row] for row in rows[1:]]],
    "invisible characters": lambda rows: _column(rows, "holder", lambda text: f"\u202e{text}"),
    "a word processor's quotes": lambda rows: _column(rows, "rights", lambda text: text and f"\u201c{text}\u201d"),
    "a title above": lambda rows: [["Berth list, Fennel Quay"], [], *rows],
    "the header lost": lambda rows: rows[1:],
    "nothing left": lambda rows: rows[:1],
}


def write(rows: Rows, separator: str, end: str, quoting: int, named: bool) -> str:
    file = io.StringIO(newline="")
    csv.writer(file, delimiter=separator, lineterminator=end, quoting=quoting).writerows(rows)  # type: ignore[arg-type]
    return f"sep={separator}{end}{file.getvalue()}" if named else file.getvalue()


_forms = st.builds(
    lambda separator, end, quoting, named: lambda rows: write(rows, separator, end, quoting, named),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.booleans(),
)
_encodings = st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])


@given(st.permutations(sorted(HARMLESS)), st.integers(0, 4), _forms, _encodings)
@settings(max_examples=150, deadline=None)
def test_one_reading_gives_the_same_roster(
    names: list[str], count: int, form: Callable[[Rows], str], encoding: str
) -> None:
    """Any few of the harmless manglings, in any form of file: read right."""
    rows = TABLE
    for name in names[:count]:
        rows = HARMLESS[name](rows)
    found = people(READER.check(form(rows).encode(encoding), GROUPS, None))
    assert found == EXPECTED


@pytest.mark.parametrize("name", sorted(HARMLESS))
def test_each_harmless_mangling_is_read_right(name: str) -> None:
    """Alone, every one of them gives the same roster."""
    data = write(HARMLESS[name](TABLE), ",", "\r\n", csv.QUOTE_MINIMAL, named=False).encode()
    assert people(READER.check(data, GROUPS, None)) == EXPECTED


@pytest.mark.parametrize("name", sorted(HARMFUL))
def test_each_harmful_mangling_is_refused(name: str) -> None:
    """Where something is lost there is no roster, and every fault says what to write."""
    check = READER.check(write(HARMFUL[name](TABLE), ";", "\n", csv.QUOTE_MINIMAL, named=False).encode(), GROUPS, None)
    assert check.roster is None
    assert all(fault.found and fault.remedy for fault in check.faults)


# Turning the columns round afterwards would move the cells back, so that one mangling is left out here.
@given(
    st.sampled_from(sorted(HARMFUL.keys() - {"cells moved to the right"})),
    st.permutations(sorted(HARMLESS)),
    st.integers(0, 3),
    _forms,
    _encodings,
)
@settings(max_examples=100, deadline=None)
def test_harmless_manglings_hide_no_harm(
    harm: str, names: list[str], count: int, form: Callable[[Rows], str], encoding: str
) -> None:
    """A loss stays a refusal whatever else happened to the file."""
    rows = HARMFUL[harm](TABLE)
    for name in names[:count]:
        rows = HARMLESS[name](rows)
    assert people(READER.check(form(rows).encode(encoding), GROUPS, None)) is None


@pytest.mark.parametrize("encoding", ["cp1252", "iso8859-15", "mac-roman", "cp850"])
def test_national_encodings_are_refused_or_read_as_named(encoding: str) -> None:
    """Without being told, none is guessed; told, the same roster comes out."""
    data = GOOD.decode().encode(encoding)
    assert people(READER.check(data, GROUPS, None)) is None
    told = RosterFileReader(ZoneInfo("Europe/Berlin"), encoding)
    assert people(told.check(data, GROUPS, None)) == EXPECTED


def test_a_file_cut_anywhere() -> None:
    """Cut after any byte: a refusal, or people who are all exactly as they were but for the last one's note.

    A file cut right after a row can't be told from a shorter file; the guard on removals is for that.
    """
    for length in range(len(GOOD)):
        found = people(READER.check(GOOD[:length], GROUPS, None))
        if found is not None:
            for serial, entry in found.items():
                assert replace(entry, note="") == replace(EXPECTED[serial], note=""), length  # type: ignore[index]


@given(st.integers(0, len(GOOD) - 1), st.integers(0, 255))
@settings(max_examples=300, deadline=None)
def test_any_single_byte_changed(offset: int, value: int) -> None:
    """Nothing crashes, and no serial appears whose digits aren't in the file."""
    data = GOOD[:offset] + bytes([value]) + GOOD[offset + 1 :]
    found = people(READER.check(data, GROUPS, None))
    for serial in found or ():
        assert str(serial).encode() in data


@given(st.binary(max_size=300), st.binary(max_size=100))
@settings(deadline=None)
def test_rubbish_never_crashes(roster: bytes, groups: bytes) -> None:
    """Whatever comes is a roster or has a fault."""
    check = READER.check(roster, groups, None)
    assert (check.roster is None) == bool(check.faults)


# --- workbooks --------------------------------------------------------------------------------------------

GROUPS_SHEET: list[list[Cell]] = [
    ["group", "receiver", "position", "outputs"],
    ["berth-holders", "slip-gate", "1", "gate"],
    ["berth-holders", "slip-gate", "1+2", "boat-hoist"],
    ["berth-holders", "car-park", "1", "barrier"],
]
KINDS_SHEET: list[list[Cell]] = [["kind", "positions"], ["four-button", "1 2 3 4 1+2"]]

Cells = list[list[Cell]]


def _typed(rows: Rows) -> Cells:
    """Cells as somebody types them into a fresh spreadsheet: numbers, days and times of their own types."""
    return [[_guess(cell) for cell in row] for row in rows]


def _guess(text: str) -> Cell:
    if text.isascii() and text.isdigit():
        return int(text)
    try:
        return date.fromisoformat(text) if len(text) == 10 else datetime.fromisoformat(text)
    except ValueError:
        return text


def _each(change: Callable[[str], Cell], name: str) -> Callable[[Rows], Cells]:
    """Change the filled cells of one column, if no other mangling has hidden it."""

    def mangle(rows: Rows) -> Cells:
        place = rows[0].index(name) if name in rows[0] else -1
        return [
            [change(cell) if at == place and cell and number else cell for at, cell in enumerate(row)]
            for number, row in enumerate(rows)
        ]

    return mangle


#: What a cell's type can do to a column, and how it must end.
TYPE_MANGLINGS: dict[str, tuple[Callable[[Rows], Cells], bool]] = {
    "all as text": (lambda rows: [[*row] for row in rows], True),
    "as typed": (_typed, True),
    "serials as numbers": (_each(lambda text: float(text) if text.isdigit() else text, "serial"), True),
    "days as date cells": (_each(_guess, "valid_until"), True),
    "serials not whole": (_each(lambda text: float(text) + 0.5 if text.isdigit() else 0.5, "serial"), False),
    "serials as dates": (_each(lambda text: date(2026, 4, 1), "serial"), False),
    "groups as dates": (_each(lambda text: date(2026, 1, 2), "group"), False),
    "holders as logical values": (_each(lambda text: True, "holder"), False),
    "uncalculated ends": (_each(lambda text: "=TODAY()", "valid_until"), False),
    "ends as day numbers": (_each(lambda text: 46326, "valid_until"), False),
    "ends as fractions": (_each(lambda text: 46326.75, "valid_until"), False),
}

_in_workbook = {name for name in HARMLESS if name not in ("text formulas",)}


@pytest.mark.parametrize("form", sorted(WRITERS))
@given(st.sampled_from(sorted(TYPE_MANGLINGS)), st.permutations(sorted(_in_workbook)), st.integers(0, 3))
@settings(max_examples=60, deadline=None)
def test_workbooks_give_the_same_roster_or_a_refusal(form: str, of_types: str, names: list[str], count: int) -> None:
    """Harmless manglings stay harmless with any types of cells, and a type's own harm is not hidden by them."""
    rows = TABLE
    for name in names[:count]:
        rows = HARMLESS[name](rows)
    change, harmless = TYPE_MANGLINGS[of_types]
    typed = change(rows)
    hidden = typed == [[*row] for row in rows]
    assert people(READER.check(book(form, typed), None, None)) == (EXPECTED if harmless or hidden else None)


@pytest.mark.parametrize("form", sorted(WRITERS))
@pytest.mark.parametrize("name", sorted(TYPE_MANGLINGS))
def test_each_type_of_cell(form: str, name: str) -> None:
    """Alone, it is read right where one reading is possible and refused where it isn't."""
    typed, harmless = TYPE_MANGLINGS[name]
    assert people(READER.check(book(form, typed(TABLE)), None, None)) == (EXPECTED if harmless else None)


@pytest.mark.parametrize("form", sorted(WRITERS))
@pytest.mark.parametrize("name", sorted(HARMFUL))
def test_each_harmful_mangling_is_refused_in_a_workbook(form: str, name: str) -> None:
    """The same losses in another kind of file; every fault says what to write."""
    check = READER.check(book(form, [[*row] for row in HARMFUL[name](TABLE)]), None, None)
    assert check.roster is None
    assert all(fault.found and fault.remedy for fault in check.faults)


def book(form: str, rows: Cells) -> bytes:
    return WRITERS[form]({"people": rows, "groups": GROUPS_SHEET, "kinds": KINDS_SHEET})
