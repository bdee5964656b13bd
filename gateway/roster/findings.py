"""Everything found wrong or doubtful in one file, gathered in one pass."""

from __future__ import annotations

from gateway.domain.roster import Fault
from gateway.roster.cells import Wrong

__all__ = ["Findings"]


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
        """In the order of their rows."""
        return tuple(sorted(self._warnings, key=lambda fault: fault.row))
