"""Everything found wrong or doubtful in one file, gathered in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from gateway.domain.roster import Fault
from gateway.roster.cells import Wrong

__all__ = ["Findings"]

_ROWS_SHOWN = 10


class Findings:
    """The faults and warnings of one file. A fault makes the whole roster unusable, a warning doesn't."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._faults: list[Fault] = []
        self._warnings: list[Fault] = []

    def fault(self, row: int, column: str, wrong: Wrong) -> None:
        self._faults.append(Fault(self._file, row, column, wrong.found, wrong.remedy))

    def warn(self, row: int, column: str, wrong: Wrong) -> None:
        self._warnings.append(Fault(self._file, row, column, wrong.found, wrong.remedy))

    @property
    def faults(self) -> tuple[Fault, ...]:
        """In the order of their rows."""
        return tuple(sorted(self._faults, key=lambda fault: fault.row))

    @property
    def warnings(self) -> tuple[Fault, ...]:
        """In the order of their rows. What is the same in many rows is said once, with the rows.

        A roster that several sites share names receivers of the others in every row.
        """
        alike: dict[tuple[str, str, str], list[Fault]] = {}
        for each in sorted(self._warnings, key=lambda fault: fault.row):
            alike.setdefault((each.column, each.found, each.remedy), []).append(each)
        return tuple(_said_once(faults) for faults in alike.values())


def _said_once(faults: Sequence[Fault]) -> Fault:
    first, *others = faults
    rows = list(dict.fromkeys(fault.row for fault in others if fault.row != first.row))
    if not rows:
        return first
    listed = ", ".join(map(str, rows[:_ROWS_SHOWN]))
    more = f" and {len(rows) - _ROWS_SHOWN} more" if len(rows) > _ROWS_SHOWN else ""
    where = f"row {listed}" if len(rows) == 1 else f"rows {listed}{more}"
    return replace(first, found=f"{first.found} (in {where} too)")
