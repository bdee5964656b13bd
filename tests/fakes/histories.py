"""The past, for tests of the API: two revisions, one day with one row, one story."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import UTC, date, datetime, timedelta

from gateway.domain.events import Event, EventName
from gateway.domain.history import (
    AccessDay,
    AccessRight,
    AccessRow,
    Chapter,
    Gap,
    MemorySpan,
    Moment,
    ReceiverDay,
    RosterRevision,
    RosterSpan,
    Story,
)
from gateway.domain.plan import Plan
from gateway.errors import NotFound
from gateway.ports import Period

__all__ = ["FakeHistories", "FakeHistory", "at"]

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def at(time: datetime = NOON) -> Moment:
    """A moment of a clock that was right."""
    return Moment(time, True, time, time)


class FakeHistory:
    """`ports.History` with revisions alone."""

    def __init__(self) -> None:
        self.kept = [RosterRevision(n, f"{n:064x}", None, at(), 2, 2, 1, 0, 0) for n in (1, 2, 3)]

    async def memory(
        self, period: Period | None = None, *, receiver: str | None = None, serial: int | None = None
    ) -> tuple[MemorySpan, ...]:
        return ()

    async def recorded_since(self) -> Mapping[str, Moment]:
        return {}

    async def rosters_since(self) -> Moment | None:
        return None

    async def roster(self, period: Period | None = None, *, serial: int | None = None) -> tuple[RosterSpan, ...]:
        return ()

    async def revisions(self, *, limit: int = 50, before: int = 0) -> tuple[RosterRevision, ...]:
        newest = [one for one in reversed(self.kept) if before <= 0 or one.number < before]
        return tuple(newest[:limit])

    async def told(self, serial: int, names: Collection[EventName], *, limit: int) -> tuple[Event, ...]:
        return ()

    async def plans(self, serial: int, *, limit: int) -> tuple[Plan, ...]:
        return ()

    async def plan_events(self) -> Mapping[str, Event]:
        return {}

    async def gaps(self, receiver: str, period: Period) -> tuple[Gap, ...]:
        return ()

    async def forget(self, before: datetime) -> int:
        return 0


class FakeHistories:
    """`ports.Histories`: three rows on any day, a story of serial 48231907 alone."""

    async def on(self, day: date, *, receiver: str | None = None, gate: str | None = None) -> AccessDay:
        if receiver not in (None, "slip-gate"):
            raise NotFound(f"There is no receiver {receiver}.", remedy="The settings name: slip-gate.")
        begin = datetime.combine(day, datetime.min.time(), UTC)
        rights = (AccessRight("1", ("gate",)),)
        rows = tuple(
            AccessRow("slip-gate", 48231907 + n, f"Berth {n}", n, rights, "memory", True, at(), None, f"Berth {n}")
            for n in (1, 2, 3)
        )  # fmt: skip
        receivers = (ReceiverDay("slip-gate", True, at(), (Gap(begin, None, "its link was lost"),)),)
        return AccessDay(day, "UTC", begin, begin + timedelta(days=1), receivers, rows)

    async def story(self, serial: int) -> Story:
        if serial != 48231907:
            raise NotFound("Nothing is known of it.", remedy="Compare the serial.")
        return Story(
            serial, "Berth 12", (Chapter(at(), "memory", "slip-gate", "is in slot 1"),), ("Now.",), ("Limits.",)
        )
