"""A good roster, mangled in every way that spreadsheets and people know: the same roster or a refusal.

Never a third thing: whatever comes out without a fault says, for every serial, exactly what the good file says.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.domain.roster import Entry
from gateway.ports import RosterCheck
from gateway.roster.reader import CsvRosterReader

VECTORS = Path(__file__).parents[2] / "vectors" / "rosters"
GROUPS = (VECTORS / "good.toml").read_bytes()
GOOD = (VECTORS / "good.csv").read_bytes()
TABLE = list(csv.reader(io.StringIO(GOOD.decode(), newline="")))
READER = CsvRosterReader(ZoneInfo("Europe/Berlin"))

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
    told = CsvRosterReader(ZoneInfo("Europe/Berlin"), encoding)
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
