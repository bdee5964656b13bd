"""The next change by date is a timer: at its instant every receiver is brought to the roster in force.

It waits on `Clock` until that instant by wall time, and looks at wall time at least every 30 s, so that a clock that is
set is noticed. What fell due while the gateway was off, the clock was not trusted or wall time jumped over it is made
up at the first look that can tell. A clock that was set back has granted or ended something too early; that is put
right the same way. While the clock isn't trusted nothing happens by date (rule 7 of the design).

Only receivers that were brought to a roster before are written: the first time is somebody's own word.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.date_changes import DateChange, DateTable
from gateway.domain.events import EventName
from gateway.domain.roster import Roster
from gateway.errors import StoreUnavailable
from gateway.ports import Commit, EventFilter, Journal, Runs, Trust
from gateway.sync.drafting import RosterInForce
from gateway.sync.following import follow
from gateway.sync.site import Site

__all__ = ["LOOK_S", "DateTimer"]

LOOK_S = 30.0
_RUN = "dates"
_WAKING = EventFilter(names=frozenset({EventName.ROSTER_FETCHED, EventName.CLOCK_TRUSTED, EventName.ROSTER_RESUMED}))


class DateTimer:
    """`ports.DateChanges`. `run` starts `bring` at every change by date.

    `bring` handles what it expects to fail; False tells that not everything was brought, so that the next start tries
    again.
    """

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        trust: Trust,
        journal: Journal,
        runs: Runs,
        rosters: RosterInForce,
        bring: Callable[[], Awaitable[bool]],
    ) -> None:
        self._site = site
        self._clock = clock
        self._trust = trust
        self._journal = journal
        self._runs = runs
        self._rosters = rosters
        self._bring = bring
        self._wake = asyncio.Event()
        self._looked: datetime | None = None
        self._known: tuple[Roster, DateTable] | None = None

    def next_change(self) -> DateChange | None:
        """See `ports.DateChanges`."""
        table = self._table()
        return table.next_after(self._clock.now()) if table is not None and self._trust.trusted else None

    async def run(self) -> None:
        """Runs until it is cancelled."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._follow(), name="dates: what wakes them")
            while True:
                self._wake.clear()
                now = self._clock.now()
                if self._is_due(now):
                    group.create_task(self._change(now), name="dates: a change")
                await self._wait(self._pause_s())

    async def _change(self, now: datetime) -> None:
        """Beside the loop: a receiver that can't be reached delays no later change."""
        if await self._bring():
            await self._keep(now)

    # --- looking ---

    def _is_due(self, now: datetime) -> bool:
        """Whether something by date lies between the last look and now, in either direction."""
        table = self._table()
        if table is None or not self._trust.trusted:
            return False
        since, self._looked = self._since(now), now
        return bool(table.between(min(since, now), max(since, now)))

    def _since(self, now: datetime) -> datetime:
        """Up to when dates have been brought: the last look, before that the last run, at first the acceptance."""
        in_force = self._rosters.in_force
        accepted = in_force.accepted.time if in_force and in_force.accepted else now
        return self._looked or self._runs.last(_RUN) or accepted

    def _table(self) -> DateTable | None:
        """Made once for a roster."""
        in_force = self._rosters.in_force
        if in_force is None:
            return None
        if self._known is None or self._known[0] is not in_force.roster:
            entries = in_force.roster.entries
            self._known = in_force.roster, DateTable(entries, self._site.zone, site=self._site.name)
        return self._known[1]

    # --- waiting ---

    def _pause_s(self) -> float:
        change = self.next_change()
        left_s = (change.time - self._clock.now()).total_seconds() if change else LOOK_S
        return max(0.0, min(LOOK_S, left_s))

    async def _wait(self, pause_s: float) -> None:
        try:
            async with self._clock.timeout(pause_s):
                await self._wake.wait()
        except TimeoutError:
            return

    async def _follow(self) -> None:
        async for _ in follow(self._journal, _WAKING):
            self._wake.set()

    async def _keep(self, time: datetime) -> None:
        """On disk when there is room; else a restart makes it up once more, and finds nothing to write."""
        try:
            await self._journal.commit(Commit(runs={_RUN: time}))
        except StoreUnavailable:
            return
