"""While a command waits for the gateway: what takes so long, as far as that can be told.

Most answers are there at once. What reads a receiver's memory takes as long as the wire needs, a minute and more; then
it is shown on a terminal how far it is. Standard output is left alone, so that it never gets into JSON.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, TypeVar

from rich.console import Console

from gateway.cli.client import ApiClient
from gateway.errors import GatepostError

__all__ = ["reading_words", "with_patience"]

_LOOK_EVERY_S = 1.0  # our choice: who waits for a second wants to know why
_T = TypeVar("_T")


async def with_patience(work: Callable[[ApiClient], Awaitable[_T]], client: ApiClient, terminal: Console) -> _T:
    """Run `work`, and show on `terminal` what the gateway reads meanwhile; nothing where it is none."""
    if not terminal.is_terminal:
        return await work(client)
    failed: Exception | None = None
    async with asyncio.TaskGroup() as group:
        showing = group.create_task(_show(client, terminal))
        try:
            found = await work(client)
        except Exception as fault:
            failed = fault
        finally:
            showing.cancel()
    if failed is not None:
        raise failed
    return found


async def _show(client: ApiClient, terminal: Console) -> None:
    shown = None
    try:
        while True:
            await asyncio.sleep(_LOOK_EVERY_S)
            words = reading_words(await client.get("/receivers"))
            if words and shown is None:
                shown = terminal.status(words)
                shown.start()
            elif words and shown is not None:
                shown.update(words)
            elif shown is not None:
                shown.stop()
                shown = None
    except GatepostError:
        return  # a token that may not look, or a gateway that has gone: `work` tells of it
    finally:
        if shown is not None:
            shown.stop()


def reading_words(receivers: Mapping[str, Any]) -> str:
    """Every receiver whose memory is read at this moment, and how far it is; empty when none is."""
    parts = [
        f"{each['id']}: {each['reading']['done']} of {each['reading']['total']} slots"
        for each in receivers["receivers"]
        if each.get("reading")
    ]
    return f"Reading what the receiver holds; {', '.join(parts)}" if parts else ""
