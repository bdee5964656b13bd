"""The keeper of all mirrors: by reading where a line reaches, by what was entered and ticked where none does."""

from __future__ import annotations

from collections.abc import Mapping

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.urgency import Urgency
from gateway.errors import Refused
from gateway.ports import MirrorKeeper, Mirrors, Progress
from gateway.sync.site import Site

__all__ = ["SiteKeeper"]


class SiteKeeper:
    """`ports.MirrorKeeper` over the one of the receivers with a line."""

    def __init__(self, keeper: MirrorKeeper, *, site: Site, mirrors: Mirrors) -> None:
        self._keeper = keeper
        self._site = site
        self._mirrors = mirrors

    async def refresh(
        self, receiver: str, *, urgency: Urgency = Urgency.BULK, progress: Progress | None = None
    ) -> Mirror:
        """See `ports.MirrorKeeper`; without a line the mirror as it is, or Refused with `holdings-unknown`."""
        if receiver not in self._site.by_hand:
            return await self._keeper.refresh(receiver, urgency=urgency, progress=progress)
        mirror = self._mirrors.load(receiver)
        if mirror is None:
            raise Refused(
                f"Nobody has said yet what {receiver} holds.",
                remedy=f"Say so once: gatepost visit-sheet holds {receiver} --empty, or --from FILE.",
                code="holdings-unknown",
            )
        return mirror

    async def record(
        self, receiver: str, slots: Mapping[int, Slot | None], revision: int, crcs: tuple[int, ...]
    ) -> Mirror:
        self._site.with_slots(receiver)
        return await self._keeper.record(receiver, slots, revision, crcs)

    async def confirm(self, receiver: str) -> None:
        """Raises Unsupported where no line reaches: nothing answers there."""
        self._site.with_slots(receiver)
        await self._keeper.confirm(receiver)
