"""People: who works what where; implemented by `watch` (looking) and `sync` (editing a roster kept here)."""

from __future__ import annotations

from typing import Protocol

from gateway.domain.person import PeopleQuery, Person

__all__ = ["People"]


class People(Protocol):
    """Everybody, whatever the source of the roster (implemented by watch/)."""

    async def find(
        self, query: PeopleQuery, *, after: str = "", limit: int = 100
    ) -> tuple[tuple[Person, ...], int, str]:
        """A page by holder, how many there are on all pages, and the place of the last one ("" on the last page).

        `after` is such a place. Raises StoreUnavailable.
        """
        ...

    async def card(self, serial: int) -> Person:
        """The person who carries this transmitter. Raises NotFound, StoreUnavailable."""
        ...
