"""The digest over days that are not 24 hours long, and with a clock that is moved."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.events import EventDraft, EventName
from gateway.outlets.mail_digest import Digest
from gateway.outlets.mail_pace import DailyTime
from gateway.ports import Commit
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore

STEP_S = 100


class Days:
    """A site whose digest is looked after every so often, as the outlet does."""

    def __init__(self, start: datetime, at: time, zone: ZoneInfo) -> None:
        self.clock = FakeClock(start)
        self.store = MemoryStore(self.clock)
        self.at = DailyTime(at, zone)
        self.told: list[tuple[datetime, int]] = []
        self.digest = self._new()

    def _new(self) -> Digest:
        store = self.store
        return Digest(
            "office",
            self.at,
            site="fennel-quay",
            wants=lambda event: event.name is EventName.LINK_LOST,
            journal=store.journal,
            runs=store.runs,
            standing=list,
        )

    def restart(self) -> None:
        self.digest = self._new()

    async def look(self) -> None:
        if (due := await self.digest.due(self.clock.now())) is not None:
            mail = await self.digest.mail(due)
            body = mail.get_content()
            words = {"once": 1, "twice": 2}
            counted = [line.rpartition(", ")[2].removesuffix(" times") for line in body.splitlines() if ", " in line]
            self.told.append((due, sum(words.get(each, 0) or int(each) for each in counted)))
            await self.digest.note(due)

    async def pass_by(self, hours: float, *, events_every_s: float = 900.0) -> None:
        """Time passes; something happens each quarter of an hour."""
        for step in range(int(hours * 3600 / STEP_S)):
            if step * STEP_S % events_every_s == 0:
                draft = EventDraft(EventName.LINK_LOST, "slip-gate", {})
                await self.store.journal.commit(Commit(events=(draft,)))
            await self.look()
            await self.clock.advance(STEP_S)


#: A change forward and one back in each: IANA tz 2025b; Lord Howe's are of half an hour, Casablanca's the other way.
CHANGES = (
    ("Europe/Berlin", datetime(2026, 3, 28, tzinfo=UTC)),
    ("Europe/Berlin", datetime(2026, 10, 24, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2026, 10, 2, 12, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2026, 4, 3, 12, tzinfo=UTC)),
    ("Africa/Casablanca", datetime(2026, 2, 14, tzinfo=UTC)),
)


@pytest.mark.parametrize("at", [time(0, 0), time(2, 30), time(7, 30)])
@pytest.mark.parametrize(("zone", "start"), CHANGES)
async def test_a_day_of_another_length(zone: str, start: datetime, at: time) -> None:
    """One digest for each day, at its time; every event in one of them and in no other."""
    days = Days(start, at, ZoneInfo(zone))
    await days.pass_by(96)
    dues = [due for due, _ in days.told]
    local = [due.astimezone(ZoneInfo(zone)) for due in dues]
    assert len({each.date() for each in local}) == len(local) >= 3
    assert [each.date() - local[0].date() for each in local] == [timedelta(days=n) for n in range(len(local))]
    assert Counter(each.time() for each in local).most_common(1)[0][0] == at
    first = days.at.before(dues[0])
    times = [event.time for event in days.store.journal.all(EventName.LINK_LOST)]
    assert sum(count for _, count in days.told) == sum(first <= each < dues[-1] for each in times)


async def test_set_up_in_the_evening_the_first_comes_in_the_morning() -> None:
    """However long before its time that is; also over a restart."""
    days = Days(datetime(2026, 3, 2, 20, 0, tzinfo=UTC), time(7, 30), ZoneInfo("UTC"))
    await days.pass_by(1)
    days.restart()
    await days.pass_by(12)
    assert [due for due, _ in days.told] == [datetime(2026, 3, 3, 7, 30, tzinfo=UTC)]


async def test_a_clock_that_goes_back_sends_none_again() -> None:
    """Two hours back after it was sent: nothing that day, and the next comes as always."""
    days = Days(datetime(2026, 3, 2, 6, 0, tzinfo=UTC), time(7, 30), ZoneInfo("UTC"))
    await days.pass_by(26)
    assert [due.day for due, _ in days.told] == [2, 3]
    days.clock.step_wall(timedelta(hours=-2))
    await days.pass_by(20)
    assert [due.day for due, _ in days.told] == [2, 3]
    await days.pass_by(8)
    assert [due.day for due, _ in days.told] == [2, 3, 4]


async def test_a_clock_that_was_two_weeks_ahead_is_not_waited_for() -> None:
    """It is put right: what it had noted lies in the future, and the next morning has its digest."""
    days = Days(datetime(2026, 3, 16, 6, 0, tzinfo=UTC), time(7, 30), ZoneInfo("UTC"))
    await days.pass_by(4)
    assert [due.day for due, _ in days.told] == [16]
    days.clock.step_wall(timedelta(days=-14))
    days.restart()
    await days.pass_by(24)
    assert [due.day for due, _ in days.told] == [16, 3]


async def test_too_late_is_left_out() -> None:
    """Off for a day and a half: no digest of half a day ago, and the next one at its time."""
    days = Days(datetime(2026, 3, 2, 6, 0, tzinfo=UTC), time(7, 30), ZoneInfo("UTC"))
    await days.pass_by(2)
    await days.clock.advance(36 * 3600)
    days.restart()
    await days.pass_by(1)
    assert [due.day for due, _ in days.told] == [2]
    await days.pass_by(12)
    assert [due.day for due, _ in days.told] == [2, 4]


async def test_many_events_are_all_counted() -> None:
    """A day with more than a page of them."""
    days = Days(datetime(2026, 3, 2, 8, 0, tzinfo=UTC), time(7, 30), ZoneInfo("UTC"))
    await days.look()
    draft = EventDraft(EventName.LINK_LOST, "slip-gate", {})
    for _ in range(12):
        await days.store.journal.commit(Commit(events=(draft,) * 100))
    await days.pass_by(24, events_every_s=1e9)
    assert [count for _, count in days.told] == [1201]
