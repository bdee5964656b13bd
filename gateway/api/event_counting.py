"""Counts events by name for the metrics: how plans ended, rosters were refused, links were lost.

Read from the journal by a cursor like everything that follows it; counts begin with the program, as counters do.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

import structlog
from aiohttp import web

from gateway.api.context import CONTEXT, Context
from gateway.api.following import Follower, Restart
from gateway.errors import StoreError
from gateway.ports import EventFilter

__all__ = ["counting_events"]

_PAUSE_S = 10.0

_log: structlog.typing.FilteringBoundLogger = structlog.get_logger(__name__)


async def counting_events(app: web.Application) -> AsyncIterator[None]:
    """Cleanup context of the application: counts from its start to its end."""
    async with asyncio.TaskGroup() as group:
        task = group.create_task(_count(app[CONTEXT]))
        yield
        task.cancel()


async def _count(context: Context) -> None:
    while True:
        follower = Follower(context.services.journal, None, EventFilter())
        try:
            while (found := await follower.next()) is not None:
                for event in () if isinstance(found, Restart) else found:
                    context.metrics.events.labels(event.name.value, event.receiver or "").inc()
        except StoreError as error:
            _log.warning("events.not_counted", code=error.code)
            await context.services.clock.sleep(_PAUSE_S)
