"""One due time of a timetable, as its job sees it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = ["Due"]


@dataclass(frozen=True, slots=True)
class Due:
    """`time` is the due time that is run for; `missed` counts earlier ones that this run makes up for."""

    time: datetime
    missed: int = 0
