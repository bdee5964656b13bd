"""One time of listening at one receiver: beginning it, following it through the journal, and ending it for certain.

Presses are heard as everybody else hears them, as durable events; those that the receiver flagged, and that happened
since this window began. Before a window begins the receiver is made quiet and everything that it had to tell is in the
journal, so that a press from before never counts. After it ended the same is waited for, so that a press that came at
the last moment is never missed: whatever is called certain was alone in its window from its beginning to its end.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.events import Event, EventName
from gateway.domain.receiver import EnrolmentState, RingPlace
from gateway.domain.urgency import Urgency
from gateway.errors import LinkLost, Refused
from gateway.ports import EventFilter, Journal, LiveView, Mirrors, Receiver
from gateway.sync.enrolment_rules import Window, press

__all__ = ["FOLLOWED", "ListeningWindow"]

FOLLOWED = frozenset({EventName.TRANSMITTER_HEARD, EventName.RECEIVER_RESTARTED})
"""The events that a window is made of."""
_AT_ONCE = 100
_TOLD_WITHIN_S = 10.0
_LOOK_EVERY_S = 0.05
_WAKE_S = 1.0
#: A poll may have been on its way when the receiver was told to listen: its word counts from then on. Our choice.
_OWN_WORD_AFTER_S = 3.0


class ListeningWindow:
    """`open`, then `follow`. `wake` is called when something that is followed has become durable, and to `stop`."""

    def __init__(
        self,
        receiver: Receiver,
        window: Window,
        *,
        clock: Clock,
        journal: Journal,
        mirrors: Mirrors,
        live: LiveView,
        holder: Callable[[int], str],
    ) -> None:
        self._receiver = receiver
        self._clock = clock
        self._journal = journal
        self._mirrors = mirrors
        self._live = live
        self._holder = holder
        self._number = 0
        self._deadline = 0.0
        self._began: datetime | None = None
        self._began_s = 0.0
        self._changed = asyncio.Event()
        self._wanted = EventFilter(names=FOLLOWED, receivers=frozenset({receiver.name}))
        self.window = window
        self.stopped = False

    def wake(self) -> None:
        self._changed.set()

    def stop(self) -> None:
        """End it before its time."""
        self.stopped = True
        self._changed.set()

    async def open(self, seconds: int) -> None:
        """The receiver listens when it returns. Raises Refused with `events-behind`, LineError, PeerError."""
        await self._receiver.listen(0)
        await self._wait_told()
        self._number = self._journal.newest.number
        self._began, self._began_s = self._clock.now(), self._clock.monotonic()
        await self._receiver.listen(seconds)
        self._deadline = self._clock.monotonic() + seconds

    async def follow(self, changed: Callable[[Window], Awaitable[None]]) -> None:
        """Until it is decided, stopped, or the receiver has ended it; `window` then holds all that was pressed in it.

        `changed` is called for every step that is seen on the way. Raises LineError, PeerError, and Refused with
        `events-behind` when what was pressed can't be known.
        """
        while not self._is_over():
            try:
                async with self._clock.timeout(min(_WAKE_S, max(0.0, self._deadline - self._clock.monotonic()))):
                    await self._changed.wait()
            except TimeoutError:
                pass
            self._changed.clear()
            await self._take_in(changed)
        await self._receiver.listen(0)
        await self._wait_told()
        await self._take_in(None)

    def _is_over(self) -> bool:
        if not self.window.step.is_listening or self.stopped:
            return True
        return self._clock.monotonic() >= self._deadline or self._says_idle()

    def _says_idle(self) -> bool:
        live = self._live.receiver(self._receiver.name)
        read = live.read_monotonic
        if live.status is None or read is None or read < self._began_s + _OWN_WORD_AFTER_S:
            return False
        return live.status.enrolment is EnrolmentState.IDLE

    async def _take_in(self, changed: Callable[[Window], Awaitable[None]] | None) -> None:
        upto = self._journal.newest.number
        while True:
            events = await self._journal.read(self._number, limit=_AT_ONCE, wanted=self._wanted)
            for event in events:
                self._see(event)
            if len(events) < _AT_ONCE:
                self._number = max([upto, self._number, *(event.id.number for event in events)])
                break
            self._number = events[-1].id.number
        if changed is not None:
            await changed(self.window)

    def _see(self, event: Event) -> None:
        if event.name is EventName.RECEIVER_RESTARTED:
            raise LinkLost(f"{self._receiver.name} restarted while it listened.", remedy="Start the enrolment again.")
        data = event.data
        from_before = event.late is not None and self._began is not None and event.late.latest < self._began
        if data.get("enrolling") and not from_before:
            serial = int(data["serial"])
            self.window = press(self.window, serial, str(data.get("position", "")), self._holder(serial))

    async def _wait_told(self) -> None:
        """Until everything that the receiver's list of events holds now is in the journal."""
        status = await self._receiver.read_status(urgency=Urgency.CONTROL)
        place = RingPlace(status.boot_count or 0, status.newest_event or 0)
        answered, answers = self._answered(), 0
        end = self._clock.monotonic() + _TOLD_WITHIN_S
        while answers < 2 and not self._is_told(place):
            if self._clock.monotonic() > end:
                raise Refused(
                    f"What {self._receiver.name} has heard can't be followed at this moment.",
                    remedy="Look at its link with `gatepost status`, then start again.",
                    code="events-behind",
                )
            await self._clock.sleep(_LOOK_EVERY_S)
            if self._answered() != answered:
                answered, answers = self._answered(), answers + 1

    def _is_told(self, place: RingPlace) -> bool:
        mirror = self._mirrors.load(self._receiver.name)
        return mirror is not None and mirror.cursor is not None and mirror.cursor >= place

    def _answered(self) -> float | None:
        """When the receiver last answered a poll. Before the second one from now on is answered, the first is told."""
        return self._live.receiver(self._receiver.name).read_monotonic
