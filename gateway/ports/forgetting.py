"""Forgetting a person; the rules are the desk's (archive/), the taking out is done by `store`."""

from __future__ import annotations

from collections.abc import Collection
from typing import Protocol

from gateway.domain.forgetting import Forgotten, Redaction

__all__ = ["ForgettingDesk", "PersonalData"]


class PersonalData(Protocol):
    """Everything that lasts, asked for a person and freed of one (implemented by store/)."""

    async def serials_of(self, name: str) -> frozenset[int]:
        """Every serial that a roster or a receiver's memory ever had under this name, as far as it is kept."""
        ...

    async def names_of(self, serials: Collection[int]) -> frozenset[str]:
        """Every name that stood with these serials, as far as it is kept: also names that a memory had shortened."""
        ...

    async def forget(self, redaction: Redaction, *, accepted: str) -> Forgotten:
        """Take it out of everything, also from free space of the files. Its `revoked` is left empty.

        `accepted` is the digest of the roster in force, whose own file stays. Durable when it returns. Raises
        StoreUnavailable; what was taken out until then is gone, and asking again does the rest.
        """
        ...


class ForgettingDesk(Protocol):
    """Who may be forgotten, and what becomes of them."""

    async def forget(self, *, serial: int | None = None, holder: str = "", preview: bool = False) -> Forgotten:
        """One of the two is given. With `preview` nothing is taken out: only who it would be is told.

        Raises NotFound for somebody that nothing is known of, StoreUnavailable, and Refused with `holder-listed` or
        `still-held`; a preview too.
        """
        ...
