"""Forgetting as the API sees it; it knows no rules, a test puts a refusal into `refuse`."""

from __future__ import annotations

from gateway.domain.forgetting import Forgotten
from gateway.errors import GatepostError

__all__ = ["FakeForgetting"]


class FakeForgetting:
    """`ports.ForgettingDesk`."""

    def __init__(self) -> None:
        self.asked: list[tuple[int | None, str]] = []
        self.refuse: GatepostError | None = None

    async def forget(self, *, serial: int | None = None, holder: str = "", preview: bool = False) -> Forgotten:
        if self.refuse is not None:
            raise self.refuse
        if preview:
            return Forgotten((serial or 48231907,), revoked=(48231907,))
        self.asked.append((serial, holder))
        return Forgotten((serial or 48231907,), revoked=(48231907,), presses=3, audit=1)
