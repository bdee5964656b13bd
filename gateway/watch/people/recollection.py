"""What the journal tells of transmitters: the newest press of each, and since when each receiver holds it.

Read once from the oldest event kept, then only what is new, so that a list of thousands of people asks the journal for
nothing else. Only in memory; it knows no names and no roster. A press that is older than presses may be kept is not
remembered either (rule 10 of the design).
"""

from __future__ import annotations

import asyncio
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from gateway.domain.events import Event, EventName
from gateway.ports import EventFilter, Journal

__all__ = ["Heard", "Recollection"]

_WANTED = EventFilter(names=frozenset({EventName.TRANSMITTER_HEARD, EventName.SLOT_CHANGED}))
_PAGE = 500  # our choice: some milliseconds each, so that nobody else waits long for the store


@dataclass(frozen=True, slots=True)
class Heard:
    """A press. `position` is its label, `known` whether the receiver knew the transmitter."""

    time: datetime
    receiver: str
    position: str
    known: bool


class Recollection:
    """Filled by `refresh`. `keep` is how long presses are kept."""

    def __init__(self, journal: Journal, keep: timedelta) -> None:
        self._journal = journal
        self._keep = keep
        self._epoch = ""
        self._read = 0
        self._heard: dict[int, Heard] = {}
        self._since: dict[tuple[str, int], datetime] = {}
        self._lock = asyncio.Lock()

    async def refresh(self) -> None:
        """Take in what is new. Raises StoreUnavailable. Cancelled, it goes on from there the next time."""
        async with self._lock:
            newest = self._journal.newest
            if newest.epoch != self._epoch:
                self._epoch, self._read = newest.epoch, 0
                self._heard.clear()
                self._since.clear()
            while self._read < newest.number:
                page = await self._journal.read(self._read, limit=_PAGE, wanted=_WANTED)
                for event in page:
                    self._take(event)
                self._read = page[-1].id.number if len(page) == _PAGE else newest.number

    def forget(self, serials: Collection[int]) -> None:
        """The journal has no press of these any more."""
        for serial in serials:
            self._heard.pop(serial, None)

    def last_heard(self, serial: int, now: datetime) -> Heard | None:
        """The newest press that is kept."""
        heard = self._heard.get(serial)
        if heard is not None and heard.time < now - self._keep:
            self._heard.pop(serial, None)
            return None
        return heard

    def since(self, receiver: str, serial: int) -> datetime | None:
        """When this receiver was first seen to hold the transmitter as it is; None when the journal doesn't know."""
        return self._since.get((receiver, serial))

    def _take(self, event: Event) -> None:
        time = event.late.latest if event.late else event.time
        if event.name is EventName.TRANSMITTER_HEARD:
            data = event.data
            self._heard[int(data["serial"])] = Heard(
                time, event.receiver, str(data.get("position", "")), bool(data.get("known"))
            )
            return
        for slot in event.data.get("slots", ()):
            key = (event.receiver, int(slot["serial"]))
            if slot["what"] == "removed":
                self._since.pop(key, None)
            else:
                self._since[key] = time
