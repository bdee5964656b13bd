"""One piece of work beside the main line."""

from __future__ import annotations

import asyncio

import pytest

from gateway.errors import NotProven, StoreUnavailable
from gateway.sync.overlap import Overlap


async def _finish(done: list[str], name: str, gate: asyncio.Event | None = None, fail: bool = False) -> None:
    if gate is not None:
        await gate.wait()
    if fail:
        raise StoreUnavailable("The disk is full.")
    done.append(name)


async def test_pieces_end_in_order_and_before_the_block() -> None:
    """The second piece begins when the first has ended, and the block ends after the last."""
    done: list[str] = []
    async with Overlap() as beside:
        await beside.begin(_finish(done, "first"))
        assert done == []
        await beside.begin(_finish(done, "second"))
        assert done == ["first"]
    assert done == ["first", "second"]


async def test_an_error_comes_with_the_next_piece_or_at_the_end() -> None:
    """Nothing that failed beside is lost, and the next piece is then not begun."""
    done: list[str] = []

    async def two() -> None:
        async with Overlap() as beside:
            await beside.begin(_finish(done, "first", fail=True))
            await beside.begin(_finish(done, "second"))

    async def one() -> None:
        async with Overlap() as beside:
            await beside.begin(_finish(done, "last", fail=True))

    with pytest.raises(StoreUnavailable):
        await two()
    with pytest.raises(StoreUnavailable):
        await one()
    assert done == []


async def test_an_error_of_the_block_itself_counts_and_the_piece_still_ends() -> None:
    """What the main line raises is what the caller sees; the piece beside it is finished first."""
    done: list[str] = []
    gate = asyncio.Event()

    async def main_line() -> None:
        async with Overlap() as beside:
            await beside.begin(_finish(done, "beside", gate))
            asyncio.get_running_loop().call_later(0, gate.set)
            raise NotProven("It shows something else.")

    with pytest.raises(NotProven):
        await main_line()
    assert done == ["beside"]


async def test_a_cancelled_block_waits_for_its_piece() -> None:
    """Cancelling leaves nothing half made durable."""
    done: list[str] = []
    gate = asyncio.Event()

    async def main_line() -> None:
        async with Overlap() as beside:
            await beside.begin(_finish(done, "beside", gate))
            await asyncio.Event().wait()

    async with asyncio.TaskGroup() as group:
        task = group.create_task(main_line())
        await asyncio.sleep(0)
        task.cancel()
        await asyncio.sleep(0)
        assert not task.done()
        gate.set()
    assert done == ["beside"]
    assert task.cancelled()
