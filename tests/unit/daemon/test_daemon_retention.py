"""What is kept goes when the settings say so: each kind by its own setting, and nothing while the date is not known."""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from gateway.daemon.house import House
from gateway.daemon.upkeep import forget_in_time
from gateway.domain.events import EventDraft, EventName
from gateway.errors import StoreUnavailable
from gateway.ports import Commit
from gateway.store.opening import Store, open_store
from tests.fakes.clock import FakeClock
from tests.fakes.store_samples import FixedTrust

LONG_AGO_DAYS = 100
SIX_HOURS_S = 6 * 3600


class Shelf:
    """Fails when told to."""

    def __init__(self) -> None:
        self.fail = False

    async def prune(self) -> None:
        if self.fail:
            raise StoreUnavailable("The disk is full.", remedy="Free some.")


class Bench:
    """A real store with something of each kind, `LONG_AGO_DAYS` old."""

    def __init__(self, store: Store, clock: FakeClock, trust: FixedTrust, **days: int) -> None:
        self.store, self.clock, self.shelf = store, clock, Shelf()
        self.turns = 0
        kept = {"keep_heard_days": 3650, "keep_history_days": 3650, "keep_audit_days": 3650, **days}
        ground = SimpleNamespace(
            store=store,
            trust=trust,
            clock=SimpleNamespace(now=clock.now, sleep=self._sleep),
            settings=SimpleNamespace(gateway=SimpleNamespace(**kept)),
        )
        self.house = cast(House, SimpleNamespace(ground=ground, syncing=SimpleNamespace(shelf=self.shelf)))

    async def _sleep(self, seconds: float) -> None:
        self.turns += 1
        await self.clock.sleep(seconds)

    async def settled(self, turns: int) -> None:
        """Until it has looked so often; real threads of the store need real turns of the loop."""
        while self.turns < turns:
            await asyncio.sleep(0.005)

    async def left(self) -> set[str]:
        """What is still there."""
        found = {event.name.value for event in await self.store.journal.read(0)}
        found |= {row.what for row in await self.store.audit.read()}
        return found | {path.name for path in self.store.folder.glob("*.damaged-*")}


@asynccontextmanager
async def running(folder: Path, trust: FixedTrust, **days: int) -> AsyncIterator[Bench]:
    """Retention at work, its first look behind it."""
    clock = FakeClock()
    store = await open_store(folder, clock, trust, boot_id="b", reserve_bytes=4096)
    heard = EventDraft(EventName.TRANSMITTER_HEARD, "slip-gate", {"serial": "0048231907"})
    await store.journal.commit(Commit((heard, EventDraft(EventName.GATEWAY_STARTED))))
    await store.audit.record("uid 0", "token.add")
    await store.audit.record("uid 0", "token.remove")
    damaged = folder / "gatepost.db.damaged-1"
    damaged.write_bytes(b"x")
    os.utime(damaged, (clock.now().timestamp(),) * 2)
    await clock.advance(LONG_AGO_DAYS * 86_400)
    bench = Bench(store, clock, trust, **days)
    task = asyncio.ensure_future(forget_in_time(bench.house))
    try:
        await bench.settled(1)
        yield bench
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task
        await store.close()


ALL = {"transmitter.heard", "gateway.started", "token.add", "token.remove", "gatepost.db.damaged-1"}


@pytest.mark.parametrize(
    ("days", "gone"),
    [
        ({}, set[str]()),
        ({"keep_heard_days": 99}, {"transmitter.heard", "gatepost.db.damaged-1"}),
        ({"keep_audit_days": 99}, {"token.add"}),  # the newest row stays, for the chain hangs on it
        ({"keep_heard_days": 101, "keep_audit_days": 101}, set[str]()),
    ],
)
async def test_each_kind_goes_by_its_own_setting(tmp_path: Path, days: dict[str, int], gone: set[str]) -> None:
    """A day too old, and a day young enough."""
    async with running(tmp_path / "state", FixedTrust(), **days) as bench:
        assert await bench.left() == ALL - gone


async def test_nothing_goes_by_a_date_that_is_not_known(tmp_path: Path) -> None:
    """It is made up when the time is known; a store that fails once is asked again."""
    trust = FixedTrust(trusted=False)
    short: dict[str, Any] = {"keep_heard_days": 1, "keep_audit_days": 30}
    async with running(tmp_path / "state", trust, **short) as bench:
        assert await bench.left() == ALL
        trust.trusted = True
        bench.shelf.fail = True
        await bench.clock.advance(SIX_HOURS_S)
        await bench.settled(2)
        bench.shelf.fail = False
        await bench.clock.advance(SIX_HOURS_S)
        await bench.settled(3)
        assert await bench.left() == {"gateway.started", "token.remove"}
