"""The source of a site whose settings name no roster: nothing can be fetched, and that is said when asked."""

from __future__ import annotations

from gateway.errors import SourceRefused
from gateway.ports import Fetched, NotModified

__all__ = ["UnsetSource"]


class UnsetSource:
    """Implements `ports.RosterSource`."""

    @property
    def place(self) -> str:
        return "no place: the settings name no roster"

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Always raises SourceRefused."""
        raise SourceRefused(
            "The settings name no roster.", remedy="Write a [roster] table with a source; docs/settings.md shows one."
        )
