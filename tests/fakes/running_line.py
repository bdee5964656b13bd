"""A `Line` on the in-memory cable, running for the length of a block."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace

from gateway.line import Line, LineConfig
from tests.fakes.wire import FakeCable

__all__ = ["FENNEL_QUAY", "running"]

FENNEL_QUAY = LineConfig(name="quay", port="/dev/fake", baud=19200)


@asynccontextmanager
async def running(cable: FakeCable, config: LineConfig = FENNEL_QUAY, **changes: object) -> AsyncIterator[Line]:
    """The line, with its port open unless the cable has a fault."""
    line = Line(replace(config, **changes), cable.clock, opener=cable.open)  # type: ignore[arg-type]  # by name
    owner = asyncio.ensure_future(line.run())
    try:
        await cable.clock.settle()
        yield line
    finally:
        owner.cancel()
        ended = await asyncio.gather(owner, return_exceptions=True)
    assert isinstance(ended[0], asyncio.CancelledError), ended
