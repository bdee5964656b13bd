"""One outlet's task: deliver in order, count failures, wait, set aside, tell once.

Order and what stops it (rule 8): a failing endpoint stops its own queue until it works again; an event that the
endpoint refuses three times is set aside and order goes on. Everything is delivered at least once: the cursor moves
when the other side has answered, and a power cut in between sends once more, with the same id and ordinal.

`outlet.failing` is told when a second try in a row has failed (or at once when nothing will be tried again),
`outlet.recovered` when one has worked; one try lost on the way is nobody's news. Knows no protocol.
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import structlog

from gateway.clock import Clock
from gateway.domain.events import Event
from gateway.errors import StoreError
from gateway.outlets.outages import Outage
from gateway.outlets.queue import Queue
from gateway.outlets.schedules import REJECTED_S
from gateway.outlets.teller import Teller
from gateway.ports import (
    Delivered,
    Delivery,
    EventRejected,
    Held,
    Journal,
    Outbox,
    OutboxRow,
    Outlet,
    OutletDisabled,
    OutletState,
    Parcel,
    RetryLater,
    SetAside,
)

__all__ = ["DEADLINE_S", "Runner"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.outlets")

DEADLINE_S = 120.0  # our choice: a way out that has not ended by then hangs, whatever its own time-outs say
_TELL_AFTER = 2
_STORE_PAUSE_S = 5.0
_HELD_LOOKS_S = 5.0
_FAULT_PAUSE_S = 60.0


class Runner:
    """Runs one outlet from `row` on. `run` is its only task."""

    def __init__(self, outlet: Outlet, row: OutboxRow, *, journal: Journal, outbox: Outbox, clock: Clock) -> None:
        self.outlet = outlet
        self._row = row
        self._journal = journal
        self._outbox = outbox
        self._clock = clock
        self._queue = Queue(outlet, journal, row.cursor)
        self._teller = Teller(outlet, journal)
        self._unreadable = Outage("outlet.journal_unreadable")
        self._fault = Outage("outlet.fault")
        self._nudge = asyncio.Event()
        self._unconnected = 0
        self._aside_told = False
        self._doing = "idle"
        self._problem, self._remedy = row.disabled, ""

    def state(self) -> OutletState:
        """As people see it now."""
        row, head = self._row, self._queue.head
        retrying = row.failures + row.rejections + self._unconnected > 0
        words = ((bool(row.disabled), "disabled"), (row.failing_since is not None, "failing"), (retrying, "retrying"))
        state = next((word for applies, word in words if applies), self._doing)
        ill = state not in ("idle", "sending")
        return OutletState(
            name=self.outlet.name,
            kind=self.outlet.kind,
            place=self.outlet.place,
            state=state,
            row=row,
            lag=max(0, self._journal.newest.number - self._queue.cursor),
            waiting_since=head.time if head else None,
            problem=self._problem if ill else "",
            remedy=self._remedy if ill else "",
        )

    async def run(self) -> None:
        """Deliver for ever; beside it runs what the outlet keeps alive between deliveries."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._keep_alive(), name=f"outlet {self.outlet.name} connection")
            await self._resume()
            while True:
                await self._next()

    async def replay(self, cursor: int) -> None:
        """Go on behind this number, also from being disabled. Raises StoreUnavailable."""
        row = replace(self._row, cursor=cursor, failures=0, rejections=0, next_try=None, disabled="")
        await self._outbox.save(row)
        self._row, self._problem, self._remedy = row, "", ""
        self._queue.seek(cursor)
        self._nudge.set()

    # --- the queue ---

    async def _resume(self) -> None:
        """A restart is a reason to look again soon: of a wait that was under way at most the first step is left."""
        if self._row.next_try is not None and not self._row.disabled:
            left = (self._row.next_try - self._clock.now()).total_seconds()
            await self._wait(min(max(left, 0.0), self.outlet.delay_s(1)))

    async def _next(self) -> None:
        if self._row.disabled:
            await self._wait(None)
            return
        try:
            lost = await self._queue.fill()
        except StoreError as fault:
            self._unreadable.failed(outlet=self.outlet.name, code=fault.code)
            await self._clock.sleep(_STORE_PAUSE_S)
            return
        self._unreadable.worked()
        if lost:
            log.warning("outlet.events_lost", outlet=self.outlet.name, count=lost)
            self._keep(replace(self._row, lost=self._row.lost + lost, failures=0, rejections=0))
        self._keep(replace(self._row, cursor=self._queue.cursor), lazy=True)
        if events := self._queue.batch():
            await self._deliver(events)
        else:
            self._doing = "idle"
            await self._wait(None, newer=self._queue.scanned)

    async def _deliver(self, events: Sequence[Event]) -> None:
        turn, row = self._queue.turn, self._row
        attempt = row.failures + row.rejections + 1
        parcels = tuple(Parcel(event, row.done + place, attempt) for place, event in enumerate(events, 1))
        self._doing = "sending"
        delivery = await self._try(parcels)
        if turn == self._queue.turn:
            await self._settle(delivery, events)

    async def _try(self, parcels: Sequence[Parcel]) -> Delivery:
        try:
            async with self._clock.timeout(DEADLINE_S):
                return await self.outlet.deliver(parcels)
        except TimeoutError:
            return RetryLater(f"It did not end within {DEADLINE_S:g} s.", "Look at the other side and the network.")
        except Exception as fault:
            # a fault of ours in one way out must stop neither the watch nor the other ways out
            self._fault.failed(outlet=self.outlet.name, exc_info=True)
            return EventRejected(f"The gateway could not send it ({type(fault).__name__}).", "Report this as a fault.")

    async def _settle(self, delivery: Delivery, events: Sequence[Event]) -> None:
        match delivery:
            case Delivered():
                self._keep(self._passed(events))
                self._unconnected, self._aside_told = 0, False
                self._fault.worked()
                await self._tell_recovered()
            case Held(reason, seconds):
                self._doing, self._problem, self._remedy = "held", reason, ""
                await self._hold(seconds)
            case OutletDisabled(problem, remedy):
                self._problem, self._remedy = problem, remedy
                self._keep(replace(self._row, disabled=problem, failures=0, rejections=0, next_try=None))
                await self._tell_failing()
            case RetryLater(problem, remedy, after_s):
                self._problem, self._remedy = problem, remedy
                await self._failed(after_s or 0.0)
            case EventRejected(problem, remedy):
                self._problem, self._remedy = problem, remedy
                await self._rejected(events)

    async def _failed(self, least_s: float) -> None:
        failures = self._row.failures + 1
        delay = max(self.outlet.delay_s(failures), least_s)
        self._keep(replace(self._row, failures=failures, next_try=self._after(delay)), lazy=True)
        if failures >= _TELL_AFTER:
            await self._tell_failing()
        await self._wait(delay)

    async def _rejected(self, events: Sequence[Event]) -> None:
        rejections, problem = self._row.rejections + 1, self._problem
        if rejections <= len(REJECTED_S):
            delay = REJECTED_S[rejections - 1]
            self._keep(replace(self._row, rejections=rejections, next_try=self._after(delay)), lazy=True)
            await self._wait(delay)
            return
        for event in events:
            aside = SetAside(self.outlet.name, event.id.number, event.name, event.receiver, problem, self._clock.now())
            await self._put_aside(event, aside)
        if not self._aside_told and not events[0].name.value.startswith("outlet."):
            self._aside_told = await self._teller.set_aside(events[0], problem)

    async def _put_aside(self, event: Event, aside: SetAside) -> None:
        """Durable, however long the disk is full: what is set aside must not vanish."""
        self._row = replace(self._passed((event,)), set_aside=self._row.set_aside + 1)
        unkept = Outage("outlet.not_kept")
        while True:
            try:
                return await self._outbox.save(self._row, aside)
            except StoreError as fault:
                unkept.failed(outlet=self.outlet.name, code=fault.code)
                await self._clock.sleep(_STORE_PAUSE_S)

    def _passed(self, events: Sequence[Event]) -> OutboxRow:
        self._queue.done(events[-1].id.number)
        return replace(
            self._row,
            cursor=self._queue.cursor,
            done=self._row.done + len(events),
            failures=0,
            rejections=0,
            next_try=None,
        )

    def _keep(self, row: OutboxRow, *, lazy: bool = False) -> None:
        if row != self._row:
            self._row = row
            self._outbox.mark(row, lazy=lazy)

    # --- what lives beside the queue ---

    async def _keep_alive(self) -> None:
        while True:
            try:
                await self.outlet.run(self._report)
            except Exception as fault:
                self._fault.failed(outlet=self.outlet.name, exc_info=True)
                await self._report(RetryLater(f"Its connection failed ({type(fault).__name__}).", "Report this."))
            await self._clock.sleep(_FAULT_PAUSE_S)

    async def _report(self, outcome: Delivered | RetryLater) -> None:
        row = self._row
        if isinstance(outcome, Delivered):
            back, self._unconnected = self._unconnected > 0, 0
            if back or row.failures:
                self._nudge.set()
            if not (row.failures or row.rejections or row.disabled):
                await self._tell_recovered()
            return
        self._unconnected += 1
        self._problem, self._remedy = outcome.problem, outcome.remedy
        if self._unconnected >= _TELL_AFTER:
            await self._tell_failing()

    # --- telling ---

    async def _tell_failing(self) -> None:
        if self._row.failing_since is not None:
            return
        self._keep(replace(self._row, failing_since=self._clock.now()))
        if not await self._teller.failing(self._problem, self._remedy, disabled=bool(self._row.disabled)):
            self._keep(replace(self._row, failing_since=None), lazy=True)

    async def _tell_recovered(self) -> None:
        since = self._row.failing_since
        if since is None:
            return
        self._keep(replace(self._row, failing_since=None))
        if not await self._teller.recovered((self._clock.now() - since).total_seconds()):
            self._keep(replace(self._row, failing_since=since), lazy=True)

    # --- waiting ---

    def _after(self, seconds: float) -> datetime:
        return self._clock.now() + timedelta(seconds=seconds)

    async def _hold(self, seconds: float) -> None:
        """Wait, and look again when there is something new, though not at every event."""
        least = min(seconds, _HELD_LOOKS_S)
        await self._wait(least)
        if seconds > least:
            await self._wait(seconds - least, newer=self._queue.scanned)

    async def _wait(self, seconds: float | None, newer: int | None = None) -> None:
        """Until the time is up, a replay or a connection that is back nudges, or the journal goes beyond `newer`."""
        try:
            async with self._clock.timeout(seconds), asyncio.TaskGroup() as group:
                waits = {group.create_task(self._nudged())}
                if newer is not None:
                    waits.add(group.create_task(self._journal.wait_newer(newer)))
                await asyncio.wait(waits, return_when=asyncio.FIRST_COMPLETED)
                for each in waits:
                    each.cancel()
        except TimeoutError:
            return
        self._nudge.clear()

    async def _nudged(self) -> None:
        await self._nudge.wait()
