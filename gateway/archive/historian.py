"""Questions about the past, answered: one door for the API (`ports.Histories`)."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

from gateway.archive.access import AccessReader
from gateway.archive.story import StoryReader
from gateway.clock import Clock
from gateway.domain.history import AccessDay, Story
from gateway.errors import Refused
from gateway.ports import Trust

__all__ = ["Historian"]


class Historian:
    """`ports.Histories`."""

    def __init__(
        self, access: AccessReader, stories: StoryReader, *, clock: Clock, trust: Trust, zone: ZoneInfo
    ) -> None:
        self._access = access
        self._stories = stories
        self._clock = clock
        self._trust = trust
        self._zone = zone

    async def on(self, day: date, *, receiver: str | None = None, gate: str | None = None) -> AccessDay:
        """A day to come has no history; a clock that isn't right doesn't know which days those are."""
        today = self._clock.now().astimezone(self._zone).date()
        if self._trust.trusted and day > today:
            raise Refused(
                f"{day} has not begun yet at this site.",
                remedy="Ask for a day up to today; what is to change is told by: gatepost roster preview",
                code="day-in-future",
            )
        return await self._access.on(day, receiver=receiver, gate=gate)

    async def story(self, serial: int) -> Story:
        return await self._stories.story(serial)
