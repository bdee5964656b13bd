"""CSV text to rows: RFC 4180 and what spreadsheets make of it; row numbers against the stdlib's reader."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.roster.columns import is_known
from gateway.roster.csv_table import SEPARATORS, read_csv


def cells(text: str) -> list[tuple[int, tuple[str, ...]]]:
    table = read_csv(text, is_known)
    assert table.problems == ()
    return [(row.number, row.cells) for row in table.rows]


@pytest.mark.parametrize("separator", SEPARATORS)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator: str, end: str) -> None:
    """Comma, semicolon and tab, with any of the three line ends, give the same rows."""
    text = end.join(separator.join(row) for row in [("serial", "holder"), ("1", "Berth 12"), ("", "")]) + end
    assert cells(text) == [(1, ("serial", "holder")), (2, ("1", "Berth 12")), (3, ("", ""))]


def test_the_separator_is_the_one_that_makes_known_columns() -> None:
    """Commas inside of cells don't make a comma file of a semicolon file."""
    assert cells("serial;x_a,b,c;holder\n1;2;Berth, the 12th\n")[1] == (2, ("1", "2", "Berth, the 12th"))


def test_a_first_line_that_names_the_separator_is_not_a_row() -> None:
    """`sep=;` is for the spreadsheet, which doesn't show it: the header is row 1."""
    assert cells("sep=;\r\nserial;holder\r\n1;x\r\n") == [(1, ("serial", "holder")), (2, ("1", "x"))]


def test_an_unusable_named_separator_is_a_problem() -> None:
    """`sep=|` is refused, with the separators that are read."""
    (problem,) = read_csv("sep=|\nserial|holder\n", is_known).problems
    assert "sep=|" in problem.found
    assert "semicolon" in problem.remedy


def test_rfc_4180_quotes() -> None:
    """RFC 4180 section 2, rules 5 to 7: quotes, line breaks and separators inside of them, doubled quotes."""
    assert cells('serial,holder\n"aaa","b\r\nb,b"\n"a","b""b"\n')[1:] == [(2, ("aaa", "b\r\nb,b")), (3, ("a", 'b"b'))]


def test_blanks_around_quotes_and_quotes_inside_of_plain_cells() -> None:
    """Stray blanks before and after quotes are dropped; a quote within a plain cell is an ordinary character."""
    assert cells('serial,holder\n1, "a,b" \n2,5" pipe\n')[1:] == [(2, ("1", "a,b")), (3, ("2", '5" pipe'))]


def test_rows_are_counted_as_a_spreadsheet_does() -> None:
    """A cell of three lines is one row, and blank rows count."""
    assert [number for number, _ in cells('serial,holder\n1,"a\nb\nc"\n\n2,x\n')] == [1, 2, 3, 4]


@pytest.mark.parametrize(("text", "open_end"), [("serial,holder\n1,x", True), ("serial,holder\n1,x\n", False)])
def test_a_missing_last_line_end_is_known(text: str, open_end: bool) -> None:
    """The table says whether the last row was closed by a line end."""
    assert read_csv(text, is_known).open_end is open_end


def test_a_broken_quote_is_located_and_the_rest_is_read() -> None:
    """Text after a closing quote: row and column are told, and the rows after it are still read."""
    table = read_csv('serial,holder\n1,"Berth "12""\n2,x\n', is_known)
    (problem,) = table.problems
    assert (problem.row, problem.column) == (2, 1)
    assert "after a closing quote" in problem.found
    assert [row.number for row in table.rows] == [1, 3]


def test_a_file_cut_inside_quotes_is_a_problem() -> None:
    """A quote that nothing closes is told where it was opened."""
    (problem,) = read_csv('serial,holder\n1,x\n2,"Berth', is_known).problems
    assert (problem.row, problem.column) == (3, 1)
    assert "never closed" in problem.found


def test_limits_on_rows_cells_and_broken_quotes() -> None:
    """A hostile file ends in one problem, not in hours: too many rows, cells or broken quotes."""
    assert "rows" in read_csv("serial,holder\n" + "\n" * 30_000, is_known).problems[-1].found
    assert "cells" in read_csv("serial,holder\n" + "," * 1000, is_known).problems[-1].found
    assert len(read_csv("serial,holder\n" + '1,"a"b\n' * 1000, is_known).problems) == 20


# Cells without what spreadsheets never write: a lone carriage return outside of a line end is a line end here.
_cell = st.text(st.characters(codec="utf-8", exclude_characters="\0", exclude_categories=["Cs"]), max_size=12)


@given(st.lists(st.lists(_cell, min_size=2, max_size=4), max_size=8), st.sampled_from(SEPARATORS))
@settings(deadline=None)
def test_the_stdlib_writes_what_we_read(rows: list[list[str]], separator: str) -> None:
    """Whatever the stdlib's csv writes is read back cell by cell, with the record numbers of its own reader."""
    file = io.StringIO(newline="")
    writer = csv.writer(file, delimiter=separator, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerows([["serial", "holder"], *rows])
    expected = [
        (number, tuple(row))
        for number, row in enumerate(csv.reader(io.StringIO(file.getvalue(), newline=""), delimiter=separator), 1)
    ]
    assert cells(file.getvalue()) == expected
