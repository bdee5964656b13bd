"""One line in the log for what keeps failing, however often it is tried.

A cause that is left broken for a day must not fill a card with lines about it. Whoever tries says each time how it
went; the first failure is written, and the next one only after it has worked in between.
"""

from __future__ import annotations

import structlog

__all__ = ["Outage"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.outlets")


class Outage:
    """One thing that can fail. `event` is the line's name."""

    def __init__(self, event: str) -> None:
        self._event = event
        self._told = False

    def failed(self, **fields: object) -> None:
        """It did not work."""
        if not self._told:
            log.warning(self._event, **fields)
        self._told = True

    def worked(self) -> None:
        """It did."""
        self._told = False
