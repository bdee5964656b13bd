"""The header row: which column is which.

Names are matched without regard to case, blanks, `_` and `-`, in any order. An unknown column is a fault,
because a misspelt `valid_until` would give access for ever; a column of one's own starts with `x_`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.roster.cells import Wrong, clean, column_letter, near_matches, show

__all__ = ["COLUMNS", "Header", "is_known", "match_header"]

COLUMNS = ("serial", "holder", "kind", "group", "rights", "sites", "valid_from", "valid_until", "note")
_OWN = ("x_", "x-", "x ")  # `X boat` is what a spreadsheet user makes of `x_boat`
_PLAIN = {name.replace("_", ""): name for name in COLUMNS}


@dataclass(frozen=True, slots=True)
class Header:
    """Where each known column stands, how each column is called in messages, and which have no name at all."""

    index: dict[str, int]
    labels: tuple[str, ...]
    unnamed: frozenset[int]
    problems: tuple[tuple[str, Wrong], ...]

    def label(self, column: int) -> str:
        """The column's name, or its letter where it has none."""
        return self.labels[column] if column < len(self.labels) else column_letter(column)


def is_known(cell: str) -> bool:
    """Whether a header cell names a column of the roster."""
    return _known(cell) is not None


def _squeezed(cell: str) -> str:
    cleaned = clean(cell)
    return "".join(cleaned.casefold().split()) if isinstance(cleaned, str) else ""


def _known(cell: str) -> str | None:
    return _PLAIN.get(_squeezed(cell).replace("_", "").replace("-", ""))


def match_header(cells: Sequence[str]) -> Header:
    """Read the header row; everything wrong with it is in `problems`, with the column it concerns."""
    index: dict[str, int] = {}
    labels: list[str] = []
    unnamed: set[int] = set()
    problems: list[tuple[str, Wrong]] = []
    for place, cell in enumerate(cells):
        name = _known(cell)
        if name is not None and name not in index:
            index[name] = place
            labels.append(name)
            continue
        label, wrong = _other_column(cell, place, index)
        labels.append(label)
        if wrong is not None:
            problems.append((label, wrong))
        elif label == column_letter(place):
            unnamed.add(place)
    problems += _missing(index)
    return Header(index, tuple(labels), frozenset(unnamed), tuple(problems))


def _other_column(cell: str, place: int, index: dict[str, int]) -> tuple[str, Wrong | None]:
    cleaned = clean(cell)
    if isinstance(cleaned, Wrong):
        return column_letter(place), cleaned
    if not cleaned:
        return column_letter(place), None
    name = _known(cell)
    if name is not None:
        found = f"the column {name} twice: {column_letter(index[name])} and {column_letter(place)}"
        return name, Wrong(found, "leave one of the two columns, or rename one so that it starts with x_")
    if cleaned.casefold().startswith(_OWN):
        return cleaned, None
    remedy = f"name it as one of {', '.join(COLUMNS)}, or let it start with x_{near_matches(cleaned, COLUMNS)}"
    return cleaned, Wrong(f"an unknown column {show(cleaned)}", remedy)


def _missing(index: dict[str, int]) -> list[tuple[str, Wrong]]:
    missing = [
        (name, Wrong(f"no column {name}", f"add a column {name}; the first row must hold the column names"))
        for name in ("serial", "holder")
        if name not in index
    ]
    if "group" not in index and "rights" not in index:
        missing.append(("group", Wrong("neither a column group nor a column rights", "add one of the two")))
    return missing
