"""All outlets together: where each begins, their tasks, and the answers about them (`ports.OutletDesk`)."""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Sequence
from dataclasses import replace

import structlog

from gateway.clock import Clock
from gateway.domain.events import EventId, EventName
from gateway.errors import NotFound, Refused, StoreError
from gateway.outlets.outages import Outage
from gateway.outlets.runner import Runner
from gateway.outlets.trial import try_samples
from gateway.ports import Journal, Outbox, OutboxRow, Outlet, OutletState, SampleOutcome, SetAside

__all__ = ["FLUSH_EVERY_S", "OutletHouse"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.outlets")

#: What a power cut can make be sent twice; our choice, since each write of its own wears the card.
FLUSH_EVERY_S = 30.0


class OutletHouse:
    """`load` once, before the first event of this start; then `run`."""

    def __init__(self, outlets: Sequence[Outlet], *, journal: Journal, outbox: Outbox, clock: Clock) -> None:
        self._outlets = tuple(outlets)
        self._journal = journal
        self._outbox = outbox
        self._clock = clock
        self._runners: dict[str, Runner] = {}

    async def load(self) -> None:
        """Take up where each outlet was. One that is new begins now, one that the settings lack is forgotten.

        A full disk does not keep the gateway from starting: what can't be written now goes with the next commit.
        """
        try:
            await self._outbox.forget_others([outlet.name for outlet in self._outlets])
        except StoreError as fault:
            log.warning("outlet.rows_not_forgotten", code=fault.code)
        begin, rows = await self._begin(), self._outbox.rows()
        for outlet in self._outlets:
            endpoint = hashlib.sha256(outlet.place.encode()).hexdigest()[:16]
            row = rows.get(outlet.name)
            if row is None:
                row = OutboxRow(outlet.name, begin, endpoint=endpoint)
            elif row.endpoint != endpoint:
                row = replace(row, endpoint=endpoint, failures=0, rejections=0, next_try=None, disabled="")
            if row.cursor > self._journal.newest.number:  # the journal is an older copy
                row = replace(row, cursor=self._journal.newest.number)
            self._outbox.mark(row)
            self._runners[outlet.name] = Runner(
                outlet, row, journal=self._journal, outbox=self._outbox, clock=self._clock
            )

    async def run(self) -> None:
        """Every outlet in a task of its own: what one waits for, no other feels."""
        unkept = Outage("outlet.cursors_not_kept")
        async with asyncio.TaskGroup() as group:
            for name, runner in self._runners.items():
                group.create_task(runner.run(), name=f"outlet {name}")
            while True:
                await self._clock.sleep(FLUSH_EVERY_S)
                try:
                    await self._outbox.flush()
                except StoreError as fault:
                    unkept.failed(code=fault.code)
                else:
                    unkept.worked()

    def states(self) -> tuple[OutletState, ...]:
        return tuple(runner.state() for runner in self._runners.values())

    def state(self, name: str) -> OutletState:
        return self._runner(name).state()

    async def set_asides(self, name: str) -> tuple[SetAside, ...]:
        return await self._outbox.set_asides(self._runner(name).outlet.name)

    async def test(self, name: str) -> tuple[SampleOutcome, ...]:
        return await try_samples(self._runner(name).outlet, self._clock)

    async def replay(self, name: str, first: EventId) -> OutletState:
        runner, newest, oldest = self._runner(name), self._journal.newest, self._journal.oldest_number
        if first.epoch != newest.epoch or not oldest <= first.number <= newest.number + 1:
            raise Refused(
                f"The journal does not hold the event {first}.",
                remedy=f"It holds {newest.epoch}-{oldest} to {newest}; name one of these.",
                code="replay-out-of-range",
            )
        await runner.replay(first.number - 1)
        return runner.state()

    async def _begin(self) -> int:
        """Behind what is there, but for the news that the journal began anew: everybody is told of that."""
        try:
            newest = await self._journal.read(0, limit=1, newest_first=True)
        except StoreError:
            newest = ()
        if newest and newest[0].name is EventName.JOURNAL_RESTARTED:
            return newest[0].id.number - 1
        return self._journal.newest.number

    def _runner(self, name: str) -> Runner:
        if name not in self._runners:
            known = ", ".join(sorted(self._runners)) or "none"
            raise NotFound(f"There is no outlet {name}.", remedy=f"The settings have: {known}.")
        return self._runners[name]
