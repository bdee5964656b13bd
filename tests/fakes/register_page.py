"""The tables of docs/register-map.md, read as a maker would read them: nothing of the program is asked."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Page", "number"]

PATH = Path(__file__).parents[2] / "docs" / "register-map.md"
Row = dict[str, str]


def number(text: str) -> int:
    """A literal of the page, hexadecimal or decimal."""
    return int(text, 16) if text.startswith("0x") else int(text)


@dataclass(frozen=True)
class Page:
    """Headings with the tables under each."""

    tables: dict[str, list[list[Row]]]

    @classmethod
    def read(cls) -> Page:
        """The page as it stands."""
        tables: dict[str, list[list[Row]]] = {}
        for section in re.split(r"^#+ ", PATH.read_text("utf-8"), flags=re.M)[1:]:
            heading, _, body = section.partition("\n")
            assert heading not in tables, f"two headings are called {heading}"
            tables[heading] = [_table(text) for text in re.findall(r"(?:^\|.*\n)+", body, re.M)]
        return cls(tables)

    def table(self, heading: str) -> list[Row]:
        """The first table under a heading."""
        return self.tables[heading][0]

    def fields(self, heading: str, block: str, wanted: set[str]) -> list[Row]:
        """The table of fields of a block; several stand under some headings."""
        found = [
            rows
            for rows in self.tables[heading]
            if "field" in rows[0] and {row["field"].strip("`") for row in rows} & wanted
        ]
        start = self.address(block)
        return next(rows for rows in found if "address" not in rows[0] or number(rows[0]["address"]) == start)

    def block(self, name: str) -> Row:
        """A row of the table of blocks."""
        return next(row for row in self.table("Blocks") if row["block"] == name)

    def address(self, block: str) -> int:
        """The first address of a block, as the page's table says."""
        return number(self.block(block)["address"])

    def place(self, heading: str, field: str) -> int:
        """The address (or offset in a record) of a field under a heading."""
        for rows in self.tables[heading]:
            for row in rows:
                if row.get("field", "").strip("`") == field:
                    return number(row.get("address") or row["offset"])
        raise KeyError(field)

    def code(self, heading: str, name: str) -> int:
        """The number of a named code."""
        return next(int(row["code"]) for row in self.table(heading) if row["name"] == name)


def _table(text: str) -> list[Row]:
    lines = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in text.splitlines()]
    head, _, *rows = lines
    return [dict(zip(head, row, strict=True)) for row in rows]
