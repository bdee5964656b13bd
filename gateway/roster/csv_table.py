"""CSV text to a table of rows (RFC 4180), as spreadsheets write it and as people edit it.

More than RFC 4180 allows: a semicolon or a tab between cells, any of the three line ends, a first line
`sep=;` (which spreadsheets take for themselves and don't count as a row), blanks around quotes. Not more
lenient than that: a quote that is opened and not closed, or closed in the middle of a cell, is a problem with
its row and column, never a guess. The stdlib's `csv` stops at the first such fault and names no column.

This file knows nothing of what the columns mean, apart from being told which header names count as known.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import islice

from gateway.roster.cells import show
from gateway.roster.table import Problem, Row, Table

__all__ = ["SEPARATORS", "read_csv"]

SEPARATORS = (",", ";", "\t")
_MAX_BROKEN = 20  # after so many broken quotes the rest is not worth the time that searching it takes
_MAX_ROWS = 25_000  # our choice: five times the largest roster planned for, read in less than a second
_MAX_CELLS = 256  # our choice, a row
_SEP_LINE = re.compile(r'"?sep=(?P<sep>[^\r\n])"?(?:\r\n|\n|\r|\Z)', re.IGNORECASE)
_LINE_END = re.compile(r"\r\n|\n|\r|\Z")


def read_csv(text: str, is_known: Callable[[str], bool]) -> Table:
    """The table in `text`. The separator is the one that splits the header into most known columns."""
    declared = _SEP_LINE.match(text)
    if declared is None:
        return _read(text, 0, _choose_separator(text, is_known))
    separator = declared.group("sep")
    if separator in SEPARATORS:
        return _read(text, declared.end(), separator)
    problem = Problem(0, None, f"a first line sep={separator}", "separate cells by comma, semicolon or tab")
    return Table((), (problem,))


def _choose_separator(text: str, is_known: Callable[[str], bool]) -> str:
    def known_columns(separator: str) -> int:
        head = _read(text[:20_000], 0, separator, rows=50)
        header = next((row for row in head.rows if not row.blank), None)
        return sum(map(is_known, header.cells)) if header else 0

    return max(SEPARATORS, key=known_columns)


def _cell_pattern(separator: str) -> re.Pattern[str]:
    blank = r"[ \u00a0\ufeff]" if separator == "\t" else r"[ \u00a0\ufeff\t]"
    end = rf"({separator}|\r\n|\n|\r|\Z)"
    quoted = rf'{blank}*+"([^"]*+(?:""[^"]*+)*+)"{blank}*+{end}'
    plain = rf"([^{separator}\r\n]*+){end}"
    return re.compile(f"{quoted}|{plain}")


def _read(text: str, start: int, separator: str, rows: int | None = None) -> Table:
    reading = _Reading(text, separator)
    found = tuple(islice(reading.rows(start), rows))
    return Table(found, tuple(reading.problems), reading.open_end)


class _Reading:
    """One pass over the text."""

    def __init__(self, text: str, separator: str) -> None:
        self._text = text
        self._separator = separator
        self._match = _cell_pattern(separator).match
        self.problems: list[Problem] = []
        self.open_end = False

    def rows(self, position: int) -> Iterator[Row]:
        number = 0
        while position < len(self._text):
            number += 1
            cells: list[str] = []
            position, whole = self._row(position, number, cells)
            if whole:
                yield Row(number, tuple(cells))
            if number == _MAX_ROWS and position < len(self._text):
                self._problem(number, None, f"more than {_MAX_ROWS} rows", "delete empty rows, or split the roster")
                return
            if len(self.problems) >= _MAX_BROKEN:
                return

    def _row(self, position: int, number: int, cells: list[str]) -> tuple[int, bool]:
        """Fill `cells`; returns where the next row starts, and whether this one could be read."""
        while True:
            match = self._match(self._text, position)
            assert match is not None  # the plain form matches anything, also nothing
            quoted, quoted_end, plain, plain_end = match.groups()
            if quoted is not None:
                cells.append(quoted.replace('""', '"'))
            elif plain.lstrip(" \t\u00a0\ufeff").startswith('"'):
                return self._broken(position, number, len(cells), plain), False
            else:
                cells.append(plain)
            position = match.end()
            end = quoted_end or plain_end or ""
            if end != self._separator:
                self.open_end = not end
                return position, True
            if len(cells) > _MAX_CELLS:
                self._problem(number, None, f"more than {_MAX_CELLS} cells in a row", "delete empty columns")
                return self._next_line(position), False

    def _broken(self, position: int, row: int, column: int, plain: str) -> int:
        """Note a broken quote, and go on with the line after the one in which it was opened."""
        opening = self._text.index('"', position)
        closing = re.compile(r'"[^"]*+(?:""[^"]*+)*+"').match(self._text, opening)
        if closing is None:
            found = f"a quote that is opened and never closed: {show(plain)}"
            remedy = "close the quote; if the file was cut, save or copy it again"
        else:
            tail = self._text[closing.end() : closing.end() + 20].splitlines()[0]
            found = f"text after a closing quote: {show(plain if closing.end() <= position + len(plain) else tail)}"
            remedy = 'write a quote inside a quoted cell twice ("")'
        self._problem(row, column, found, remedy)
        return self._next_line(opening)

    def _problem(self, row: int, column: int | None, found: str, remedy: str) -> None:
        self.problems.append(Problem(row, column, found, remedy))

    def _next_line(self, position: int) -> int:
        line_end = _LINE_END.search(self._text, position)
        assert line_end is not None  # the end of the text is a line end too
        return line_end.end()
