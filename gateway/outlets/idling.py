"""For ways out that keep nothing alive between two deliveries."""

from __future__ import annotations

import asyncio

__all__ = ["idle"]


async def idle() -> None:
    """Never returns; cancellation ends it."""
    await asyncio.Event().wait()
