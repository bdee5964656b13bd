"""The next change by date is a timer: to the second, through every change of any clock, and only for those brought.

The whole sync room runs on a clock that the test moves; what a change by date did is read from the receiver's memory.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import PlanState
from gateway.errors import NoAnswer
from gateway.ports import Commit
from gateway.sync.date_timer import DateTimer
from tests.fakes.clock import FakeClock
from tests.fakes.sync_house import SLIP_GATE, SyncHouse, entry, quay_receiver, roster, run_in

STAYS, COMES, GOES = 1, 2, 3
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LAST_DAY = date(2026, 3, 2)
MIDNIGHT = datetime(2026, 3, 2, 23, 0, tzinfo=UTC)  # in Berlin
ROSTER = roster(entry(STAYS), entry(COMES, valid_from=LAST_DAY + timedelta(days=1)), entry(GOES, valid_until=LAST_DAY))


def timer_of(house: SyncHouse) -> DateTimer:
    return DateTimer(
        site=house.site,
        clock=house.clock,
        trust=house.trust,
        journal=house.store.journal,
        runs=house.store.runs,
        rosters=house.rosters,
        bring=house.runner.bring_applied,
    )


@asynccontextmanager
async def ticking(house: SyncHouse) -> AsyncIterator[DateTimer]:
    timer = timer_of(house)
    async with run_in(house), asyncio.TaskGroup() as group:
        task = group.create_task(timer.run())
        await house.clock.settle()
        try:
            yield timer
        finally:
            task.cancel()


def quay(start: datetime = START, *, zone: str | None = None) -> SyncHouse:
    clock = FakeClock(start)
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock)
    if zone is not None:
        house.site = replace(house.site, zone=ZoneInfo(zone))
        house.drafter._site = house.site
    house.rosters.put(ROSTER, accepted=start)
    return house


async def brought(house: SyncHouse) -> None:
    assert (await house.clock.run(house.runner.apply(SLIP_GATE))).state is PlanState.APPLIED


async def until(house: SyncHouse, time: datetime) -> None:
    await house.clock.advance((time - house.clock.now()).total_seconds())


async def test_at_that_instant_and_not_before() -> None:
    """One ends and one begins at the site's midnight: nothing is written a second earlier, both are a second later."""
    house = quay()
    async with ticking(house) as timer:
        await brought(house)
        change = timer.next_change()
        assert change is not None
        assert (change.time, change.begin, change.end) == (MIDNIGHT, (COMES,), (GOES,))
        await until(house, MIDNIGHT - timedelta(seconds=1))
        assert set(house.held()) == {STAYS, GOES}
        frames = house.receivers[SLIP_GATE].frames
        await until(house, MIDNIGHT + timedelta(seconds=1))
        assert set(house.held()) == {STAYS, COMES}
        assert timer.next_change() is None
        assert house.receivers[SLIP_GATE].frames > frames
    assert house.store.runs.last("dates") == MIDNIGHT


#: A last day on which the clock changes, and the first instant after it (IANA tz 2025b).
ENDS = [
    ("Europe/Berlin", date(2026, 3, 29), datetime(2026, 3, 29, 22, tzinfo=UTC)),
    ("Europe/Berlin", date(2026, 10, 25), datetime(2026, 10, 25, 23, tzinfo=UTC)),
    ("Europe/London", date(2026, 10, 25), datetime(2026, 10, 26, 0, tzinfo=UTC)),
    ("America/New_York", date(2026, 3, 8), datetime(2026, 3, 9, 4, tzinfo=UTC)),
    ("Australia/Sydney", date(2026, 4, 5), datetime(2026, 4, 5, 14, tzinfo=UTC)),
    ("Australia/Lord_Howe", date(2026, 10, 4), datetime(2026, 10, 4, 13, tzinfo=UTC)),
    ("Australia/Lord_Howe", date(2026, 4, 5), datetime(2026, 4, 5, 13, 30, tzinfo=UTC)),
    ("Africa/Casablanca", date(2026, 2, 15), datetime(2026, 2, 16, 0, tzinfo=UTC)),
    ("Africa/Casablanca", date(2026, 3, 22), datetime(2026, 3, 22, 23, tzinfo=UTC)),
    ("America/Sao_Paulo", date(2026, 2, 28), datetime(2026, 3, 1, 3, tzinfo=UTC)),
    ("Europe/Berlin", date(2028, 2, 29), datetime(2028, 2, 29, 23, tzinfo=UTC)),
]


@pytest.mark.parametrize(("zone", "last", "over"), ENDS)
async def test_a_last_day_counts_to_its_end_in_every_zone(zone: str, last: date, over: datetime) -> None:
    """Inclusive, though the day has 23, 23.5, 24.5 or 25 hours, or is the 29th of February."""
    house = quay(over - timedelta(hours=30), zone=zone)
    house.rosters.put(roster(entry(STAYS), entry(GOES, valid_until=last)), accepted=over - timedelta(hours=30))
    async with ticking(house):
        await brought(house)
        await until(house, over - timedelta(seconds=1))
        assert set(house.held()) == {STAYS, GOES}
        await until(house, over + timedelta(seconds=1))
        assert set(house.held()) == {STAYS}


async def test_a_time_of_day_is_that_instant() -> None:
    """From half past nine to ten, in the site's zone."""
    house = quay()
    berlin = ZoneInfo("Europe/Berlin")
    since, til = datetime(2026, 3, 2, 9, 30, tzinfo=berlin), datetime(2026, 3, 2, 10, 0, tzinfo=berlin)
    house.rosters.put(roster(entry(STAYS), entry(COMES, valid_from=since, valid_until=til)), accepted=START)
    async with ticking(house):
        await brought(house)
        await until(house, since + timedelta(seconds=1))
        assert set(house.held()) == {STAYS, COMES}
        await until(house, til + timedelta(seconds=1))
        assert set(house.held()) == {STAYS}


async def test_a_clock_that_is_not_trusted_grants_and_ends_nothing() -> None:
    """It passes midnight untrusted: nothing; when it is trusted both are made up at once."""
    house = quay()
    async with ticking(house) as timer:
        await brought(house)
        house.trust.trusted = False
        await until(house, MIDNIGHT + timedelta(hours=3))
        assert set(house.held()) == {STAYS, GOES}
        assert timer.next_change() is None
        house.trust.trusted = True
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.CLOCK_TRUSTED),)))
        await house.clock.advance(1)
        assert set(house.held()) == {STAYS, COMES}


async def test_a_clock_wrong_at_boot() -> None:
    """The board starts in another year, untrusted, and is set right later: the time it stood at decided nothing."""
    house = quay()
    async with ticking(house):
        await brought(house)
    house.clock.step_wall(timedelta(days=-300))
    again = house.restarted()
    again.trust.trusted = False
    async with ticking(again):
        await again.clock.advance(600)
        assert set(again.held()) == {STAYS, GOES}
        again.clock.step_wall(timedelta(days=301))
        again.trust.trusted = True
        await again.clock.advance(31)
        assert set(again.held()) == {STAYS, COMES}


@pytest.mark.parametrize("by", [timedelta(hours=20), timedelta(days=400)])
async def test_a_clock_that_jumps_forward(by: timedelta) -> None:
    """Over midnight, or over a year: made up at the next look, half a minute later at most."""
    house = quay()
    async with ticking(house):
        await brought(house)
        house.clock.step_wall(by)
        await house.clock.advance(31)
        assert set(house.held()) == {STAYS, COMES}


async def test_a_clock_that_runs_backwards_and_is_then_right() -> None:
    """A day fast, it has ended and granted too early; untrusted it changes nothing, trusted it puts that right."""
    house = quay()
    async with ticking(house):
        await brought(house)
        house.clock.step_wall(timedelta(days=1))
        await house.clock.advance(31)
        assert set(house.held()) == {STAYS, COMES}
        house.clock.step_wall(timedelta(days=-1))
        house.trust.trusted = False
        await house.clock.advance(120)
        assert set(house.held()) == {STAYS, COMES}
        house.trust.trusted = True
        await house.clock.advance(31)
        assert set(house.held()) == {STAYS, GOES}


async def test_what_fell_due_while_the_gateway_was_off() -> None:
    """Off over midnight; made up at the start, once."""
    house = quay()
    async with ticking(house):
        await brought(house)
    await until(house, MIDNIGHT + timedelta(hours=2))
    again = house.restarted()
    async with ticking(again):
        await again.clock.settle()
        assert set(again.held()) == {STAYS, COMES}
        plans = len(again.store.plans.kept)
    third = again.restarted()
    async with ticking(third):
        await third.clock.advance(120)
        assert len(third.store.plans.kept) == plans


async def test_a_dead_receiver_gets_it_when_it_answers_and_delays_nobody() -> None:
    """Two receivers, one silent at midnight: the other has it at once, this one with its link, over a restart too."""
    clock = FakeClock(START)
    house = SyncHouse([quay_receiver(clock=clock), quay_receiver("car-park", clock=clock)], clock=clock)
    rights = "1:slip-gate/gate 1:car-park/gate"
    house.rosters.put(roster(entry(STAYS, rights), entry(GOES, rights, valid_until=LAST_DAY)), accepted=START)
    async with ticking(house):
        await house.clock.run(house.runner.apply_all())
        house.receivers["car-park"].link_error = NoAnswer("It does not answer.", remedy="Check its power.")
        await until(house, MIDNIGHT + timedelta(seconds=1))
        assert set(house.held()) == {STAYS}
        assert set(house.held("car-park")) == {STAYS, GOES}
    assert house.store.runs.last("dates") is None
    house.receivers["car-park"].no_faults()
    again = house.restarted()
    async with ticking(again):
        await again.clock.settle()
        assert set(again.held("car-park")) == {STAYS}


async def test_a_receiver_never_brought_to_a_roster_is_not_written() -> None:
    """Its first time is somebody's own word, whatever a date says."""
    house = quay()
    async with ticking(house):
        await until(house, MIDNIGHT + timedelta(hours=1))
        assert house.held() == {}


async def test_a_new_roster_sets_the_timer_anew() -> None:
    """One that ends in ten seconds comes just after a look; it ends in ten seconds, not at the next look."""
    house = quay()
    async with ticking(house):
        await brought(house)
        await house.clock.advance(1)
        end = house.clock.now() + timedelta(seconds=10)
        house.rosters.put(roster(entry(STAYS), entry(GOES, valid_until=end), digest="d2"), accepted=house.clock.now())
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.ROSTER_FETCHED),)))
        await brought(house)
        await house.clock.advance(10.5)
        assert set(house.held()) == {STAYS}


async def test_an_end_by_date_of_an_accepted_roster_is_no_matter_for_the_guard() -> None:
    """All berths of the season end at once: it happens without approval; the same in a new file would be held."""
    house = quay()
    berths = [entry(serial, valid_until=LAST_DAY) for serial in range(10, 30)]
    house.rosters.put(roster(entry(STAYS), *berths), accepted=START)
    async with ticking(house):
        await brought(house)
        await until(house, MIDNIGHT + timedelta(seconds=5))
        assert set(house.held()) == {STAYS}


async def test_between_changes_no_receiver_is_asked() -> None:
    """A timer, not a poll: a whole day before the change not one frame is sent for it."""
    house = quay()
    async with ticking(house):
        await brought(house)
        frames = house.receivers[SLIP_GATE].frames
        await until(house, MIDNIGHT - timedelta(seconds=1))
        assert house.receivers[SLIP_GATE].frames == frames
