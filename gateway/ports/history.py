"""What was: memories and rosters of the past; kept by `store`, told by `archive`."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from gateway.domain.events import Event, EventName
from gateway.domain.history import AccessDay, Gap, MemorySpan, Moment, RosterRevision, RosterSpan, Story
from gateway.domain.plan import Plan
from gateway.domain.roster import Roster
from gateway.ports.memory import RosterAcceptance

__all__ = ["Histories", "History", "Period", "RosterBook"]


@dataclass(frozen=True, slots=True)
class Period:
    """From `begin` on, up to and without `end`."""

    begin: datetime
    end: datetime


class RosterBook(Protocol):
    """Where accepted rosters are written down row by row."""

    async def note(self, roster: Roster, acceptance: RosterAcceptance, *, now: bool) -> None:
        """Durable when it returns; a roster that is the newest one already changes nothing.

        `now` False: it was accepted in an earlier run, and only `acceptance` says when. Raises StoreUnavailable.
        """
        ...


class History(Protocol):
    """What is kept of the past. Spans that a wrong clock leaves open are among those of a period."""

    async def memory(
        self, period: Period | None = None, *, receiver: str | None = None, serial: int | None = None
    ) -> tuple[MemorySpan, ...]:
        """By receiver, slot and time."""
        ...

    async def recorded_since(self) -> Mapping[str, Moment]:
        """When the record of each receiver's memory begins."""
        ...

    async def rosters_since(self) -> Moment | None:
        """When the oldest roster was accepted that is recorded."""
        ...

    async def roster(self, period: Period | None = None, *, serial: int | None = None) -> tuple[RosterSpan, ...]:
        """By serial and time."""
        ...

    async def revisions(self, *, limit: int = 50, before: int = 0) -> tuple[RosterRevision, ...]:
        """Newest first; those with a number below `before` (0: from the end)."""
        ...

    async def told(self, serial: int, names: Collection[EventName], *, limit: int) -> tuple[Event, ...]:
        """The newest events of these names that name this serial, oldest first."""
        ...

    async def plans(self, serial: int, *, limit: int) -> tuple[Plan, ...]:
        """The newest plans that touch this serial, oldest first, with their changes of this serial alone."""
        ...

    async def plan_events(self) -> Mapping[str, Event]:
        """What was last told of each of the newest plans, by plan id: when it was held, applied or had failed."""
        ...

    async def gaps(self, receiver: str, period: Period) -> tuple[Gap, ...]:
        """When nobody watched this receiver, as far back as the journal goes."""
        ...

    async def forget(self, before: datetime) -> int:
        """Remove what ended before; how many rows. Call it only while the clock is trusted."""
        ...


class Histories(Protocol):
    """Questions about the past (implemented by archive/)."""

    async def on(self, day: date, *, receiver: str | None = None, gate: str | None = None) -> AccessDay:
        """Who had access to what on a day of the site's zone. Raises NotFound, Refused with `day-in-future`."""
        ...

    async def story(self, serial: int) -> Story:
        """Raises NotFound when nothing is kept of it."""
        ...
