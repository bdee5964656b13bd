"""One piece of work beside the main line: what was proven is made durable while the wire carries the next frames.

On a card a commit takes as long as a frame on a fast line; waiting for each would leave the wire silent. At most one
piece runs at a time, in order, and none is left running: whoever leaves the block waits for it.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Coroutine
from types import TracebackType
from typing import Any, Self

from gateway.errors import GatepostError

__all__ = ["Overlap"]


class Overlap:
    """`async with Overlap() as beside:` and `await beside.begin(work)`.

    An error of a piece is raised by the next `begin`, or at the end of the block; beside an error of the block itself
    it gives way.
    """

    def __init__(self) -> None:
        self._task: asyncio.Future[None] | None = None

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            await self._settle()
            return
        with contextlib.suppress(GatepostError):
            await self._settle()

    async def begin(self, work: Coroutine[Any, Any, None]) -> None:
        """Start the next piece once the one before is done. Cancellation is safe: a piece that began is finished."""
        try:
            await self._settle()
        except BaseException:
            work.close()
            raise
        self._task = asyncio.ensure_future(work)

    async def _settle(self) -> None:
        """Wait for the piece under way, even when cancelled meanwhile; its error is raised here."""
        if self._task is None:
            return
        task, cancelled = self._task, None
        while not task.done():
            try:
                await asyncio.wait([task])
            except asyncio.CancelledError as error:
                cancelled = error
        self._task = None
        if cancelled is not None:
            raise cancelled
        task.result()
