"""The source of a site without a central file: the newest roster that the gateway keeps itself.

It is fetched, checked and accepted as any other. The tag is the revision's number, so that nothing is read again while
nobody edits.
"""

from __future__ import annotations

from gateway.errors import SourceRefused, SourceUnreachable, StoreError
from gateway.ports import Fetched, KeptRosters, NotModified

__all__ = ["LOCAL", "LocalSource"]

#: What the settings write as source.
LOCAL = "local"


class LocalSource:
    """`ports.RosterSource` over `ports.KeptRosters`."""

    def __init__(self, kept: KeptRosters) -> None:
        self._kept = kept

    @property
    def place(self) -> str:
        return "kept by this gateway"

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Raises SourceRefused while nobody is in it, SourceUnreachable while its folder can't be read."""
        try:
            found = await self._kept.newest()
        except StoreError as fault:
            raise SourceUnreachable(fault.message, remedy=fault.remedy) from fault
        if found is None:
            raise SourceRefused(
                "This gateway keeps the roster itself, and nobody is in it yet.",
                remedy="Read the receivers with `gatepost roster from-receiver --keep`, or add people "
                "with `gatepost people add` or `gatepost people import`.",
            )
        revision, pair = found
        now = f"{revision.number} {revision.digest}"
        return NotModified() if now == tag else Fetched(pair.roster, pair.groups, now)
