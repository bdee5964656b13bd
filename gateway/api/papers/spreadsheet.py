"""Papers as CSV for a spreadsheet: one row for each transmitter and place.

No cell is taken for a formula (`domain.spreadsheet`): opening an export runs nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from gateway.domain.papers import AccessPaper, HandoverPaper
from gateway.domain.spreadsheet import csv_line

__all__ = ["access_csv", "handover_csv", "write_rows"]


def write_rows(rows: Iterable[Sequence[str]]) -> bytes:
    """RFC 4180, with a byte-order mark so that spreadsheets read UTF-8."""
    return "".join(csv_line(row) for row in rows).encode("utf-8-sig")


def handover_csv(paper: HandoverPaper) -> bytes:
    """Who has what."""
    head = ("holder", "serial", "kind", "group", "valid_from", "valid_until", "what", "state")
    rows = [
        (row.holder, row.serial, row.kind, row.group, row.valid_from, row.valid_until, " ".join(row.places), row.state)
        for row in paper.transmitters
    ]
    return write_rows([head, *rows])


def access_csv(paper: AccessPaper) -> bytes:
    """Who has access to one gate."""
    head = ("holder", "serial", "positions", "outputs", "valid_from", "valid_until", "state")
    rows = [
        (row.holder, row.serial, ", ".join(row.positions), ", ".join(row.outputs), row.valid_from, row.valid_until,
         row.state)
        for row in paper.rows
    ]  # fmt: skip
    return write_rows([head, *rows])
