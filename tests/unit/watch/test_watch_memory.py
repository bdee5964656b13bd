"""Memory stays where it is over many polls: nothing is kept of a poll that told nothing new.

GATEPOST_POLLS is how many, 3,000 unless told otherwise; the goal (R8) is at most 1 MiB in 100,000. Measured is what
Python allocated and did not give back (tracemalloc), so that other programs and the allocator's habits do not count.
"""

from __future__ import annotations

import gc
import os
import tracemalloc

import pytest

from tests.fakes.quay import Quay

POLLS = int(os.environ.get("GATEPOST_POLLS", "3000"))
GOAL_BYTES = 2**20  # in 100,000 polls
ROOM_BYTES = 4_000  # our choice: caches that fill once


@pytest.mark.timeout(60 + POLLS // 50)
async def test_polls_leave_nothing_behind() -> None:
    """A receiver that answers and at which nothing happens."""
    quay = Quay.filled()
    async with quay.watching(30):
        tracemalloc.start()
        try:
            await quay.clock.advance(POLLS / 10 / 5)
            quay.receiver.urgencies.clear()  # the fake remembers every frame
            gc.collect()
            before = tracemalloc.get_traced_memory()[0]
            await quay.clock.advance(POLLS / 5)
            quay.receiver.urgencies.clear()
            gc.collect()
            grown = tracemalloc.get_traced_memory()[0] - before
        finally:
            tracemalloc.stop()
    assert quay.live.poll_rate_hz == pytest.approx(5.0, rel=0.1)
    print(f"{grown} bytes in {POLLS} polls")
    assert grown <= GOAL_BYTES * POLLS / 100_000 + ROOM_BYTES
