"""The papers of a site; implemented by `archive`."""

from __future__ import annotations

from typing import Protocol

from gateway.domain.papers import AccessPaper, HandoverPaper, RetentionPaper

__all__ = ["Papers"]


class Papers(Protocol):
    """What is handed over, as it stands now. With `named` False holders are left out and serials stay."""

    async def handover(self, *, named: bool = True) -> HandoverPaper:
        """Raises StoreUnavailable."""
        ...

    async def access(self, gate: str, *, named: bool = True) -> AccessPaper:
        """Raises NotFound, StoreUnavailable."""
        ...

    def retention(self) -> RetentionPaper: ...
