"""The job runs once per due time, whatever clocks and power do."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.sync.due import Due
from gateway.sync.timetable import Job, WallTimetable
from gateway.sync.wall_clock_cron import Every, WallClockCron
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.sync_house import FakeTrust

BERLIN = ZoneInfo("Europe/Berlin")
DAY_S = 86_400.0


class Bench:
    """A timetable, its clock and what its job was called with."""

    def __init__(self, rule: WallClockCron | Every, start: datetime, *, spread_s: float = 0.0, seed: str = "") -> None:
        self.rule, self.spread_s, self.seed = rule, spread_s, seed
        self.clock = FakeClock(start)
        self.store = MemoryStore(self.clock)
        self.trust = FakeTrust()
        self.calls: list[Due] = []
        self.at: list[datetime] = []
        self.table = self.make()

    def make(self) -> WallTimetable:
        return WallTimetable(
            rule=self.rule,
            clock=self.clock,
            trust=self.trust,
            journal=self.store.journal,
            runs=self.store.runs,
            spread_s=self.spread_s,
            seed=self.seed,
        )

    async def job(self, due: Due) -> None:
        self.calls.append(due)
        self.at.append(self.clock.now())

    @asynccontextmanager
    async def on(self, job: Job | None = None) -> AsyncIterator[None]:
        """The power is on; a new timetable over the same store."""
        self.table = self.make()
        async with asyncio.TaskGroup() as group:
            task = group.create_task(self.table.run(job or self.job))
            await self.clock.settle()
            yield
            task.cancel()


def nightly(start: datetime = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)) -> Bench:
    return Bench(WallClockCron("30 2 * * *", BERLIN), start)


async def test_every_night_once() -> None:
    """Thirty days, thirty runs, at 02:30 of the site's zone."""
    bench = nightly()
    async with bench.on():
        assert bench.table.next_run() == datetime(2026, 6, 2, 0, 30, tzinfo=UTC)
        await bench.clock.advance(30 * DAY_S)
    assert [
        (due.missed, at.astimezone(BERLIN).strftime("%H:%M")) for due, at in zip(bench.calls, bench.at, strict=True)
    ] == [(0, "02:30")] * 30


@pytest.mark.parametrize(
    ("zone", "month", "day"),
    [
        ("Europe/Berlin", 3, 29),
        ("Europe/Berlin", 10, 25),
        ("America/New_York", 3, 8),
        ("America/New_York", 11, 1),
        ("Australia/Lord_Howe", 10, 4),
        ("Australia/Lord_Howe", 4, 5),
        ("Africa/Casablanca", 2, 15),
        ("Africa/Casablanca", 3, 22),
        ("Australia/Sydney", 4, 5),
        ("Europe/London", 10, 25),
    ],
)
@pytest.mark.parametrize("expression", ["30 2 * * *", "5 0 * * *", "30 1 * * *"])
async def test_through_a_clock_change(zone: str, month: int, day: int, expression: str) -> None:
    """Seven days around each change of 2026 (IANA tz 2025b): one run a day."""
    noon = datetime(2026, month, day, 12, tzinfo=ZoneInfo(zone)).astimezone(UTC)
    bench = Bench(WallClockCron(expression, ZoneInfo(zone)), noon - timedelta(days=3))
    async with bench.on():
        await bench.clock.advance(6 * DAY_S)
    days = [due.time.astimezone(ZoneInfo(zone)).date() for due in bench.calls]
    assert len(days) == 6
    assert len(set(days)) == 6
    assert all(due.missed == 0 for due in bench.calls)


async def test_runs_missed_while_the_power_was_off_are_made_up_once_and_told() -> None:
    """Off for three nights: one run at start that says three, then the usual ones."""
    bench = nightly()
    async with bench.on():
        await bench.clock.advance(DAY_S)
    bench.clock.step_wall(timedelta(days=3))
    async with bench.on():
        await bench.clock.advance(60)
        assert [due.missed for due in bench.calls] == [0, 3]
        await bench.clock.advance(DAY_S)
    assert [due.missed for due in bench.calls] == [0, 3, 0]
    assert len({due.time for due in bench.calls}) == 3


async def test_a_restart_right_after_a_run_does_not_repeat_it() -> None:
    """The last due time is durable."""
    bench = nightly()
    async with bench.on():
        await bench.clock.advance(13 * 3600)
    async with bench.on():
        await bench.clock.advance(3600)
    assert len(bench.calls) == 1
    assert bench.store.runs.last("sync") == datetime(2026, 6, 2, 0, 30, tzinfo=UTC)


async def test_a_run_that_was_cut_is_made_up() -> None:
    """Power lost in the middle of the job: the due time isn't done."""
    bench = nightly()

    async def hang(due: Due) -> None:
        await bench.clock.sleep(1e9)

    async with bench.on(hang):
        await bench.clock.advance(13 * 3600)
    async with bench.on():
        await bench.clock.advance(60)
    assert [due.time for due in bench.calls] == [datetime(2026, 6, 2, 0, 30, tzinfo=UTC)]


@pytest.mark.parametrize("days", [14, -14])
async def test_a_step_of_the_clock_loses_and_doubles_no_due_time(days: int) -> None:
    """Fourteen days forward: one run makes up for those. Back: what was run for is not run for again."""
    bench = nightly()
    async with bench.on():
        await bench.clock.advance(5 * DAY_S)
        bench.clock.step_wall(timedelta(days=days))
        await bench.clock.advance(60)
        made_up = [due.missed for due in bench.calls[5:]]
        assert made_up == ([14] if days > 0 else [])
        await bench.clock.advance(30 * DAY_S)
    times = [due.time for due in bench.calls]
    assert len(set(times)) == len(times), "a due time was run for twice"
    expected = 30 if days > 0 else 25  # going back, the five nights before the step come again
    assert len(times) == 5 + len(made_up) + expected


async def test_a_clock_put_right_again_gets_its_own_nights() -> None:
    """Set forward by mistake and back an hour later: the real nights are run, not skipped for a fortnight."""
    bench = nightly()
    async with bench.on():
        bench.clock.step_wall(timedelta(days=14))
        await bench.clock.advance(3600)
        bench.clock.step_wall(timedelta(days=-14))
        await bench.clock.advance(10 * DAY_S)
    times = [due.time for due in bench.calls]
    assert len(times) == 11
    assert len(set(times)) == 11


async def test_two_hours_back_right_after_a_run() -> None:
    """The due time that comes again is not run for again; the next night is."""
    bench = nightly()
    async with bench.on():
        await bench.clock.advance(12.75 * 3600)
        assert len(bench.calls) == 1
        bench.clock.step_wall(timedelta(hours=-2))
        await bench.clock.advance(4 * 3600)
        assert len(bench.calls) == 1
        await bench.clock.advance(DAY_S)
    assert len(bench.calls) == 2


async def test_boot_with_an_old_clock_that_is_stepped_later() -> None:
    """Untrusted and a fortnight back: nothing runs by it; when the time is known, what was missed is made up once."""
    bench = nightly()
    async with bench.on():
        await bench.clock.advance(DAY_S)
    bench.clock.step_wall(timedelta(days=2) - timedelta(days=14))
    bench.trust.trusted = False
    async with bench.on():
        assert bench.table.next_run() is None
        await bench.clock.advance(20 * 3600)
        assert len(bench.calls) == 1
        bench.clock.step_wall(timedelta(days=14))
        bench.trust.trusted = True
        await bench.clock.advance(60)
        assert [due.missed for due in bench.calls[1:]] == [3]
        await bench.clock.advance(DAY_S)
    assert [due.missed for due in bench.calls] == [0, 3, 0]


async def test_a_clock_that_is_never_set_still_gets_a_run_a_day() -> None:
    """By running time, since wall time is nothing to go by; none of these is a due time."""
    bench = nightly()
    bench.trust.trusted = False
    async with bench.on():
        await bench.clock.advance(3.5 * DAY_S)
    assert len(bench.calls) == 3
    assert bench.store.runs.last("sync") is None


async def test_runs_missed_before_the_very_first_one_are_known() -> None:
    """The first start itself is durable: a night missed right after it is made up."""
    bench = nightly()
    async with bench.on():
        await bench.clock.advance(60)
    bench.clock.step_wall(timedelta(days=1))
    async with bench.on():
        await bench.clock.advance(60)
    assert [due.missed for due in bench.calls] == [1]


async def test_intervals_run_on_monotonic_time() -> None:
    """Steps of the wall clock neither lose nor double a run."""
    bench = Bench(Every(900), datetime(2026, 6, 1, tzinfo=UTC))
    async with bench.on():
        await bench.clock.advance(3600)
        bench.clock.step_wall(timedelta(hours=-2))
        await bench.clock.advance(3600)
        bench.clock.step_wall(timedelta(days=14))
        await bench.clock.advance(3600)
    assert len(bench.calls) == 12


async def test_an_interval_goes_on_after_a_restart() -> None:
    """Ten minutes of fifteen were over before the restart; five are left."""
    bench = Bench(Every(900), datetime(2026, 6, 1, tzinfo=UTC))
    async with bench.on():
        await bench.clock.advance(900 + 600)
    async with bench.on():
        await bench.clock.advance(299)
        assert len(bench.calls) == 1
        await bench.clock.advance(2)
    assert len(bench.calls) == 2


async def test_due_times_during_a_long_job_are_one_run() -> None:
    """One at a time: a job that outlasts its next due times is followed by one run for all of them."""
    bench = Bench(WallClockCron("*/10 * * * *", BERLIN), datetime(2026, 6, 1, 0, 5, tzinfo=UTC))
    calls: list[Due] = []

    async def long_job(due: Due) -> None:
        calls.append(due)
        await bench.clock.sleep(35 * 60)

    async with bench.on(long_job):
        await bench.clock.advance(60 * 60)
    assert [due.time.minute for due in calls] == [10, 40]


async def test_five_hundred_gateways_do_not_fetch_in_the_same_second() -> None:
    """Spread over five minutes by each gateway's seed: no second has more than 5 % of them, and it is repeatable."""
    start = datetime(2026, 6, 1, 0, 29, tzinfo=UTC)
    seconds: dict[int, int] = {}
    for number in range(500):
        bench = Bench(WallClockCron("30 2 * * *", BERLIN), start, spread_s=300, seed=f"gateway {number}")
        async with bench.on():
            await bench.clock.advance(400)
        second = int((bench.at[0] - start).total_seconds())
        seconds[second] = seconds.get(second, 0) + 1
    assert max(seconds.values()) <= 25
    assert sum(seconds.values()) == 500


async def test_a_full_disk_does_not_stop_the_timetable() -> None:
    """The run happens; only after a restart it would be made up again."""
    bench = nightly()
    bench.store.journal.full = True
    async with bench.on():
        await bench.clock.advance(2 * DAY_S)
    assert len(bench.calls) == 2
