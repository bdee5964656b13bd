"""A date that comes is on the visit sheet at its instant: the same timer as for receivers with a line.

The clock is the test's. The desk's own look comes every five minutes only, and no test here lets it come in between.
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
from gateway.domain.visit_sheet import Gesture
from gateway.ports import Commit, Holding
from gateway.sync.date_timer import DateTimer
from tests.fakes.clock import FakeClock
from tests.fakes.hand_house import SHED, HandHouse
from tests.fakes.sync_house import entry, roster

GATE = "1:boat-shed/gate"
STAYS, COMES, GOES = 1, 2, 3
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LAST_DAY = date(2026, 3, 2)
MIDNIGHT = datetime(2026, 3, 2, 23, 0, tzinfo=UTC)  # in Berlin
CHANGED = {(Gesture.REMOVE, GOES), (Gesture.LEARN, COMES)}


async def shed(start: datetime = START, *, last: date = LAST_DAY, zone: str | None = None) -> HandHouse:
    """One stays, one begins and one ends with the end of a day; what the shed holds is as it is to be until then."""
    house = HandHouse(clock=FakeClock(start))
    if zone is not None:
        house.site = replace(house.site, zone=ZoneInfo(zone))
        house.drafter._site = house.site
    await house.desk.load()
    comes = entry(COMES, GATE, valid_from=last + timedelta(days=1))
    house.rosters.put(roster(entry(STAYS, GATE), comes, entry(GOES, GATE, valid_until=last)), start)
    await house.desk.hold(SHED, [Holding(serial, {1: [1]}) for serial in (STAYS, GOES)], asked_by="token:desk")
    return house


@asynccontextmanager
async def ticking(house: HandHouse) -> AsyncIterator[None]:
    """The timer alone, over the desk."""
    timer = DateTimer(
        site=house.site,
        clock=house.clock,
        trust=house.trust,
        journal=house.store.journal,
        runs=house.store.runs,
        rosters=house.rosters,
        bring=house.desk.settle_all,
    )
    async with asyncio.TaskGroup() as group:
        task = group.create_task(timer.run())
        await house.clock.settle()
        try:
            yield
        finally:
            task.cancel()


def asked(house: HandHouse) -> set[tuple[Gesture, int]]:
    return {(work[0], work[1]) for work in house.lines().values()}


async def until(house: HandHouse, time: datetime) -> None:
    await house.clock.advance((time - house.clock.now()).total_seconds())


#: A last day on which the clock changes, or which there is once in four years, and the first instant after it.
ENDS = [
    ("Europe/Berlin", date(2026, 3, 2), MIDNIGHT),
    ("Europe/Berlin", date(2026, 3, 29), datetime(2026, 3, 29, 22, tzinfo=UTC)),
    ("Europe/Berlin", date(2026, 10, 25), datetime(2026, 10, 25, 23, tzinfo=UTC)),
    ("Australia/Lord_Howe", date(2026, 4, 5), datetime(2026, 4, 5, 13, 30, tzinfo=UTC)),
    ("Europe/Berlin", date(2028, 2, 29), datetime(2028, 2, 29, 23, tzinfo=UTC)),
]


@pytest.mark.parametrize(("zone", "last", "over"), ENDS)
async def test_at_that_instant_and_not_before(zone: str, last: date, over: datetime) -> None:
    """A last day counts to its end, though it has 23, 24.5 or 25 hours (IANA tz 2025b)."""
    house = await shed(over - timedelta(hours=30), last=last, zone=zone)
    async with ticking(house):
        await until(house, over - timedelta(seconds=1))
        assert asked(house) == set()
        await until(house, over + timedelta(seconds=1))
        assert asked(house) == CHANGED


async def test_a_clock_that_is_not_trusted_asks_nobody() -> None:
    """It passes midnight untrusted: no line; trusted, the sheet has both at once."""
    house = await shed()
    async with ticking(house):
        house.trust.trusted = False
        await until(house, MIDNIGHT + timedelta(hours=3))
        assert asked(house) == set()
        house.trust.trusted = True
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.CLOCK_TRUSTED),)))
        await house.clock.advance(1)
        assert asked(house) == CHANGED


async def test_a_clock_that_was_ahead_and_is_put_back() -> None:
    """What it asked for too early is off the sheet again."""
    house = await shed()
    async with ticking(house):
        house.clock.step_wall(timedelta(days=1))
        await house.clock.advance(31)
        assert asked(house) == CHANGED
        house.clock.step_wall(timedelta(days=-1))
        await house.clock.advance(31)
        assert asked(house) == set()


async def test_a_sheet_that_cannot_be_kept_is_looked_at_again_at_the_next_start() -> None:
    """The disk is full at midnight: the run is not written down as done."""
    house = await shed()
    async with ticking(house):
        house.store.journal.full = True
        await until(house, MIDNIGHT + timedelta(seconds=1))
        assert asked(house) == set()
    house.store.journal.full = False
    assert house.store.runs.last("dates") is None
    again = await house.restarted()
    async with ticking(again):
        await again.clock.settle()
        assert asked(again) == CHANGED
