"""An open store in a folder of its own, on a clock that the test moves."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

import pytest

from gateway.store.opening import Store, open_store
from tests.fakes.clock import FakeClock
from tests.fakes.store_samples import FixedTrust

Opener = Callable[[], Awaitable[Store]]


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


@pytest.fixture
def trust() -> FixedTrust:
    return FixedTrust()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "state"


@pytest.fixture
async def reopen(folder: Path, clock: FakeClock, trust: FixedTrust) -> AsyncIterator[Opener]:
    """Open the store, closing the one opened before, as a restart does."""
    opened: list[Store] = []

    async def again() -> Store:
        while opened:
            await opened.pop().close()
        opened.append(await open_store(folder, clock, trust, boot_id="boot-1", reserve_bytes=4096))
        return opened[-1]

    yield again
    while opened:
        await opened.pop().close()


@pytest.fixture
async def store(reopen: Opener) -> Store:
    return await reopen()
