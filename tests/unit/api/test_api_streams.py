"""Counting and ending event streams."""

from __future__ import annotations

import asyncio

import pytest

from gateway.api.faults import RequestFault
from gateway.api.streams import Streams


async def test_no_more_than_the_limit() -> None:
    """One too many is refused with a time to come back, and room is given back when one ends."""
    streams = Streams(1)
    async with streams.one():
        assert streams.count == 1
        with pytest.raises(RequestFault) as fault:
            streams.take()
        assert fault.value.code == "streams-exhausted"
        assert "Retry-After" in fault.value.headers
    async with streams.one():
        assert streams.count == 1


async def test_all_end_at_once_without_an_error() -> None:
    """Whoever waits inside is let out; afterwards none begins."""
    streams = Streams(5)
    ended: list[int] = []

    async def wait(number: int) -> None:
        async with streams.one():
            await asyncio.get_running_loop().create_future()
        ended.append(number)

    async with asyncio.TaskGroup() as group:
        for number in range(3):
            group.create_task(wait(number))
        await asyncio.sleep(0)
        streams.end_all()
    assert sorted(ended) == [0, 1, 2]
    assert streams.count == 0
    with pytest.raises(RequestFault):
        streams.take()


async def test_a_time_out_inside_is_not_swallowed() -> None:
    """Only the end of all streams is quiet; another TimeoutError goes through."""
    with pytest.raises(TimeoutError):
        async with Streams(1).one():
            raise TimeoutError
