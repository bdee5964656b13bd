"""A small sheet with a header of its own (`groups`, `kinds`, `labels`) to rows of texts by column name.

The same rules as for the roster's header: names without regard to case and blanks, columns in any order, unknown ones
are faults unless they start with `x_`. Every column must be there and every cell filled, unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gateway.roster.cells import Wrong, clean, column_letter, is_blank, near_matches, show
from gateway.roster.findings import Findings
from gateway.roster.table import Row, Table

__all__ = ["read_named_sheet"]

_AS_TEXT = "format the column as text, and type it again"


def read_named_sheet(
    table: Table, columns: Sequence[str], findings: Findings, *, exact: Sequence[str] = ()
) -> Iterator[tuple[int, dict[str, str]]]:
    """Row number and cleaned texts of each row; what is wrong goes to `findings` and its row is left out.

    The columns in `exact` keep their blanks as they are.
    """
    rows = [row for row in table.rows if not row.blank]
    if not rows:
        return
    index = _header(rows[0], columns, findings)
    if index is None:
        return
    for row in rows[1:]:
        texts = {name: _text(row, place, name, findings, exact=name in exact) for name, place in index.items()}
        stray = [place for place, cell in enumerate(row.cells) if place >= len(rows[0].cells) and not is_blank(cell)]
        if stray:
            wrong = Wrong(f"{show(row.cells[stray[0]])} beyond the last column", "name the column, or empty it")
            findings.fault(row.number, column_letter(stray[0]), wrong)
        yield row.number, {name: text for name, text in texts.items() if text is not None}


def _header(row: Row, columns: Sequence[str], findings: Findings) -> dict[str, int] | None:
    index: dict[str, int] = {}
    good = True
    for place, cell in enumerate(row.cells):
        cleaned = clean(cell)
        name = "".join(cleaned.casefold().split()) if isinstance(cleaned, str) else ""
        if name in columns and name not in index:
            index[name] = place
        elif isinstance(cleaned, Wrong):
            good = False
            findings.fault(row.number, column_letter(place), cleaned)
        elif name in index:
            good = False
            findings.fault(row.number, name, Wrong(f"the column {name} twice", "leave one of the two"))
        elif cleaned and not name.startswith(("x_", "x-")):
            good = False
            remedy = f"name it as one of {', '.join(columns)}, or let it start with x_{near_matches(cleaned, columns)}"
            findings.fault(row.number, cleaned, Wrong(f"an unknown column {show(cleaned)}", remedy))
    for name in columns:
        if name not in index:
            good = False
            findings.fault(row.number, name, Wrong(f"no column {name}", f"add a column {name}"))
    return index if good else None


def _text(row: Row, place: int, name: str, findings: Findings, *, exact: bool) -> str | None:
    raw = row.cells[place] if place < len(row.cells) else ""
    cleaned = row.wrong.get(place) or clean(raw)
    if place in row.dates:
        cleaned = Wrong(f"a date cell, {show(raw)}, which the spreadsheet made of what was typed", _AS_TEXT)
    if isinstance(cleaned, Wrong):
        findings.fault(row.number, name, cleaned)
        return None
    return (raw if exact else cleaned).removeprefix("'")
