"""When the roster is fetched and brought to the receivers: once per due time, through every change of any clock.

A rule is a cron expression in the site's zone (`WallClockCron`), or an interval on monotonic time (`Every`). The loop
waits on `Clock`, looks at wall time at least every 30 s, and knows three kinds of trouble:

- **Missed** due times (power off, a clock set forward) are made up by one run that says how many they were.
- **A clock set back** makes due times come twice; one that was run for is not run for again.
- **A clock that isn't trusted** names no due times (rule 7 of the design). Only once in 24 hours of running time the
  job runs all the same, because a site whose clock is never set must still get its changes. What was missed is made up
  when the time is known.

The last due time that was run for is durable (`Commit.runs`) after its job ended, so a cut job is made up.
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta

from gateway.clock import Clock
from gateway.errors import StoreUnavailable
from gateway.ports import Commit, Journal, Runs, Trust
from gateway.sync.due import Due
from gateway.sync.wall_clock_cron import Every, WallClockCron

__all__ = ["LOOK_S", "Job", "WallTimetable"]

LOOK_S = 30.0
UNTRUSTED_EVERY_S = 24 * 3600.0
LATE = timedelta(seconds=2 * LOOK_S)
"""A due time older than this when it is seen was missed: our choice, twice the longest look."""
_REMEMBERED = 1000
_MOST_COUNTED = 10_000

Job = Callable[[Due], Awaitable[None]]


class WallTimetable:
    """`ports.Timetable`. `run` calls the job; nothing happens before."""

    def __init__(
        self,
        *,
        rule: WallClockCron | Every,
        clock: Clock,
        trust: Trust,
        journal: Journal,
        runs: Runs,
        name: str = "sync",
        spread_s: float = 0.0,
        seed: str = "",
    ) -> None:
        self._rule = rule
        self._clock = clock
        self._trust = trust
        self._journal = journal
        self._runs = runs
        self._name = name
        self._spread_s = spread_s
        self._seed = seed
        self._ran: deque[datetime] = deque(maxlen=_REMEMBERED)
        self._looked: datetime | None = None
        self._ahead: tuple[datetime, datetime | None] | None = None
        self._last_run_s = clock.monotonic()

    def next_run(self) -> datetime | None:
        """The next due time by the clock as it is; None while the clock isn't trusted."""
        if isinstance(self._rule, Every):
            return self._clock.now() + timedelta(seconds=self._left_s(self._rule))
        return self._next_after(self._clock.now()) if self._trust.trusted else None

    async def run(self, job: Job) -> None:
        """Call the job at every due time, one at a time; runs until it is cancelled.

        The job handles what it expects to fail; any other error ends this.
        """
        self._start()
        while True:
            await self._mark_first_start()
            due = self._look()
            if due is not None:
                self._last_run_s = self._clock.monotonic()
                await self._clock.sleep(self._delay_s(due))
                await job(due)
                await self._remember(due)
            await self._clock.sleep(self._pause_s())

    async def _mark_first_start(self) -> None:
        """What falls due from the first start on can be missed, so that moment is kept like a run."""
        if self._looked is None and self._trust.trusted and self._runs.last(self._name) is None:
            await self._keep(self._clock.now())

    # --- looking ---

    def _start(self) -> None:
        """An interval goes on from its last durable run when wall time can say how long ago that was."""
        last = self._runs.last(self._name)
        if last is None:
            return
        self._ran.append(last)
        ago_s = (self._clock.now() - last).total_seconds()
        if isinstance(self._rule, Every) and self._trust.trusted and ago_s >= 0:
            self._last_run_s -= min(ago_s, self._rule.seconds)

    def _look(self) -> Due | None:
        """What is due now; None when nothing is."""
        now = self._clock.now()
        if isinstance(self._rule, Every):
            return Due(now) if self._left_s(self._rule) <= 0 else None
        if not self._trust.trusted:
            overdue = self._clock.monotonic() - self._last_run_s >= UNTRUSTED_EVERY_S
            return Due(now) if overdue else None
        since, self._looked = self._since(now), now
        found = self._between(since, now)
        return Due(found[-1], _missed(found, now)) if found else None

    def _since(self, now: datetime) -> datetime:
        """Up to when due times were looked at before; a clock that was set back begins anew from now."""
        last = self._looked or self._runs.last(self._name) or now
        return min(last, now)

    def _between(self, since: datetime, now: datetime) -> list[datetime]:
        found: list[datetime] = []
        due = self._next_after(since)
        while due is not None and due <= now and len(found) < _MOST_COUNTED:
            found.append(due)
            due = self._next_after(due)
        return found

    def _next_after(self, time: datetime) -> datetime | None:
        """The first due time after this one that was not run for."""
        assert isinstance(self._rule, WallClockCron)
        if self._ahead is not None:
            since, due = self._ahead
            if since <= time and (due is None or time < due) and due not in self._ran:
                return due
        due = self._rule.next_after(time)
        while due is not None and due in self._ran:
            due = self._rule.next_after(due)
        self._ahead = (time, due)
        return due

    # --- waiting ---

    def _pause_s(self) -> float:
        if isinstance(self._rule, Every):
            return max(0.0, min(LOOK_S, self._left_s(self._rule)))
        due = self._next_after(self._clock.now()) if self._trust.trusted else None
        left_s = (due - self._clock.now()).total_seconds() if due else LOOK_S
        return max(0.0, min(LOOK_S, left_s))

    def _left_s(self, every: Every) -> float:
        return self._last_run_s + every.seconds - self._clock.monotonic()

    def _delay_s(self, due: Due) -> float:
        """Spread: a delay that differs from gateway to gateway and from time to time, and can be repeated."""
        return random.Random(f"{self._seed} {due.time.isoformat()}").uniform(0, self._spread_s)  # noqa: S311

    async def _remember(self, due: Due) -> None:
        """In memory always; on disk when there is room, else the run is made up after a restart."""
        by_wall = isinstance(self._rule, Every) or self._trust.trusted
        if not by_wall:
            return
        self._ran.append(due.time)
        await self._keep(due.time)

    async def _keep(self, time: datetime) -> None:
        try:
            await self._journal.commit(Commit(runs={self._name: time}))
        except StoreUnavailable:
            return


def _missed(found: list[datetime], now: datetime) -> int:
    """How many of the due times weren't run for in their time: the earlier ones, and the last when it is late."""
    return len(found) - 1 + int(now - found[-1] > LATE)
