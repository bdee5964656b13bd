"""Changes by date; implemented by `sync`."""

from __future__ import annotations

from typing import Protocol

from gateway.domain.date_changes import DateChange

__all__ = ["DateChanges"]


class DateChanges(Protocol):
    """When the roster's dates next change something here (implemented by sync/)."""

    def next_change(self) -> DateChange | None:
        """None when dates change nothing any more, without a roster, and while the clock isn't trusted."""
        ...
