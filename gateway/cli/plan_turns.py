"""A receiver's turn: where changes are worked out or written already, a command waits for them instead of giving up.

A roster that was just fetched may be on its way to the receivers by itself; whoever asks for the same is not refused.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

from rich.progress import Progress

from gateway.cli.client import ApiProblem

__all__ = ["in_turn"]

_LOOK_EVERY_S = 0.5
_LOOKS = 1200  # our choice: ten minutes; a full memory takes four at 9600 Bd


async def in_turn(ask: Callable[[], Awaitable[dict[str, Any]]], receiver: str, bars: Progress) -> dict[str, Any]:
    """What is answered to `ask`, asked again while other changes are under way there. Raises ApiProblem."""
    bar = None
    looks = 0
    while True:
        try:
            found = await ask()
        except ApiProblem as problem:
            looks += 1
            if problem.code != "plan-running" or looks == _LOOKS:
                raise
            if bar is None:
                bar = bars.add_task("waits for the changes under way", total=None, receiver=receiver)
            await asyncio.sleep(_LOOK_EVERY_S)
        else:
            if bar is not None:
                bars.remove_task(bar)
            return found
