"""Enrolments: the receiver listens, buttons are pressed, a serial becomes certain.

One receiver listens for one enrolment at a time, for at most a minute at a time, and ends it by itself. An enrolment of
several opens a new window after each transmitter, until nobody presses any more or somebody finishes it; a conflict
spoils its own window alone. Every step is an event `enrolment.changed`. Enrolments are remembered for a while, the
newest of them over a restart, which ends those that listen. What counts as certain is decided in `enrolment_rules`;
nothing here writes to a receiver's memory.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from gateway.clock import Clock
from gateway.domain.enrolment import Enrolment, EnrolmentStep, EnrolmentWay, Heard
from gateway.domain.enrolment_words import enrolment_data
from gateway.domain.events import EventDraft, EventName
from gateway.domain.receiver import Capability
from gateway.domain.transmitter import MAX_SERIAL
from gateway.errors import GatepostError, NotFound, Refused, StoreUnavailable, Unsupported
from gateway.ports import Commit, Documents, EventFilter, Journal, LiveView, Mirrors, Receiver
from gateway.sync.enrolment_memory import EnrolmentMemory
from gateway.sync.enrolment_rules import Window
from gateway.sync.enrolment_window import FOLLOWED, ListeningWindow
from gateway.sync.following import follow
from gateway.sync.site import Site

__all__ = ["KEPT_S", "MAX_SECONDS", "Enroller"]

MAX_SECONDS = 60
#: How long a confirmed serial waits for somebody to say whose it is. Our choice.
KEPT_S = 1800.0
#: Enrolments remembered for each receiver. Our choice.
_REMEMBERED = 50
_WANTED = EventFilter(names=FOLLOWED)


@dataclass(slots=True)
class _Session:
    """An enrolment and, while it listens, its window."""

    enrolment: Enrolment
    seconds: int
    began_s: float
    window: ListeningWindow | None = None
    ended: asyncio.Event = field(default_factory=asyncio.Event)
    stopped: bool = False


class Enroller:
    """`run` must be running for presses to be followed."""

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        journal: Journal,
        mirrors: Mirrors,
        documents: Documents,
        live: LiveView,
        holder: Callable[[int], str],
        revoked: Callable[[], Collection[int]],
    ) -> None:
        self._revoked = revoked
        self._memory = EnrolmentMemory(documents)
        self._site = site
        self._clock = clock
        self._journal = journal
        self._mirrors = mirrors
        self._live = live
        self._holder = holder
        self._sessions: dict[str, dict[str, _Session]] = {}
        self._busy: set[str] = set()
        self._jobs: asyncio.Queue[_Session] = asyncio.Queue()
        self._count = itertools.count(1)
        self._cut: list[_Session] = []
        for name in site.names_with_slots():
            self._recall(name)

    # --- asking ---

    async def start(
        self, receiver: str, way: EnrolmentWay, *, serial: int | None = None, seconds: int = MAX_SECONDS, asked_by: str
    ) -> Enrolment:
        """See `ports.EnrolmentDesk`."""
        driver = self._driver(receiver)
        if way in (EnrolmentWay.TYPED, EnrolmentWay.TYPED_AND_PRESSED):
            _check_typed(serial)
        else:
            serial = None
        session = self._session(receiver, way, serial, seconds, asked_by)
        if way is EnrolmentWay.TYPED:
            await self._journal.commit(self._told(session))
            self._remember(session)
            return session.enrolment
        self._take(receiver)
        try:
            await self._open(session, driver)
            await self._journal.commit(self._told(session))
        except BaseException:
            self._busy.discard(receiver)
            raise
        self._remember(session)
        self._jobs.put_nowait(session)
        return session.enrolment

    def get(self, receiver: str, enrolment_id: str) -> Enrolment:
        return self._find(receiver, enrolment_id).enrolment

    def of(self, receiver: str) -> tuple[Enrolment, ...]:
        self._site.receiver(receiver)
        return tuple(session.enrolment for session in reversed(self._sessions.get(receiver, {}).values()))

    async def finish(self, receiver: str, enrolment_id: str) -> Enrolment:
        """When it returns the receiver no longer listens for it, or can't be reached and ends by itself."""
        session = self._find(receiver, enrolment_id)
        if session.window is not None:
            session.stopped = True
            session.window.stop()
            await session.ended.wait()
        return session.enrolment

    async def cancel(self, receiver: str, enrolment_id: str) -> Enrolment:
        await self.finish(receiver, enrolment_id)
        session = self._find(receiver, enrolment_id)
        if session.enrolment.step is EnrolmentStep.CONFIRMED:
            await self._set(session, EnrolmentStep.CANCELLED)
        return session.enrolment

    def is_in_time(self, enrolment: Enrolment) -> bool:
        """Whether what was confirmed may still be completed."""
        session = self._find(enrolment.receiver, enrolment.id)
        return self._clock.monotonic() < session.began_s + KEPT_S

    async def complete(self, enrolment: Enrolment) -> None:
        """Its rows were made."""
        await self._set(self._find(enrolment.receiver, enrolment.id), EnrolmentStep.COMPLETED)

    # --- doing ---

    async def run(self) -> None:
        """Follow what is pressed; runs until it is cancelled."""
        for session in self._cut:
            await self._tell(session)
        async with asyncio.TaskGroup() as group:
            group.create_task(self._wake(), name="enrolment: what is heard")
            while True:
                session = await self._jobs.get()
                group.create_task(self._listen(session), name=f"enrolment {session.enrolment.id}")

    async def _wake(self) -> None:
        async for event in follow(self._journal, _WANTED):
            for session in self._sessions.get(event.receiver, {}).values():
                if session.window is not None:
                    session.window.wake()

    async def _listen(self, session: _Session) -> None:
        receiver = session.enrolment.receiver
        try:
            while await self._one_window(session):
                await self._open(session, self._site.receivers[receiver])
                await self._tell(session)
        except GatepostError as fault:
            session.enrolment = replace(session.enrolment, problem=fault.message, remedy=fault.remedy)
            await self._end(session, EnrolmentStep.FAILED)
        finally:
            session.window = None
            self._busy.discard(receiver)
            session.ended.set()

    async def _one_window(self, session: _Session) -> bool:
        """Follow the window to its end; True when another one is to be opened."""
        listening = session.window
        assert listening is not None

        async def changed(window: Window) -> None:
            if window.step is EnrolmentStep.HEARD and self._marked(window.heard) != session.enrolment.heard:
                session.enrolment = replace(session.enrolment, step=window.step, heard=self._marked(window.heard))
                await self._tell(session)

        await listening.follow(changed)
        return await self._decide(session, listening)

    async def _decide(self, session: _Session, listening: ListeningWindow) -> bool:
        window, several = listening.window, session.enrolment.way is EnrolmentWay.SEVERAL
        session.enrolment = replace(session.enrolment, heard=self._marked(window.heard))
        if window.step is EnrolmentStep.CONFIRMED:
            confirmed = (*session.enrolment.confirmed, *session.enrolment.heard)
            session.enrolment = replace(session.enrolment, confirmed=confirmed)
            await self._set(session, EnrolmentStep.CONFIRMED)
            return several and not listening.stopped
        if window.step is EnrolmentStep.CONFLICT:
            await self._set(session, EnrolmentStep.CONFLICT)
            if several and not listening.stopped:
                return True
        step = EnrolmentStep.CANCELLED if listening.stopped else EnrolmentStep.ENDED
        if window.step is not EnrolmentStep.CONFLICT or session.enrolment.confirmed:
            await self._end(session, step)
        return False

    async def _end(self, session: _Session, step: EnrolmentStep) -> None:
        """What was confirmed before stays so: of several the last window is the one that nobody used."""
        if session.enrolment.confirmed:
            session.enrolment = replace(session.enrolment, heard=())
            step = EnrolmentStep.CONFIRMED
        await self._set(session, step)

    async def _open(self, session: _Session, driver: Receiver) -> None:
        enrolment = session.enrolment
        passed = frozenset(each.serial for each in enrolment.confirmed)
        session.window = ListeningWindow(
            driver, Window(enrolment.way, enrolment.typed, passed), clock=self._clock, journal=self._journal,
            mirrors=self._mirrors, live=self._live, holder=self._holder,
        )  # fmt: skip
        if session.stopped:
            session.window.stop()
        await session.window.open(session.seconds)
        session.enrolment = replace(
            enrolment,
            step=EnrolmentStep.LISTENING,
            heard=(),
            ends=self._clock.now() + timedelta(seconds=session.seconds),
        )

    # --- remembering and telling ---

    def _session(self, receiver: str, way: EnrolmentWay, serial: int | None, seconds: int, asked_by: str) -> _Session:
        now = self._clock.now()
        typed = () if serial is None else self._marked((Heard(serial, holder=self._holder(serial)),))
        alone = way is EnrolmentWay.TYPED
        enrolment = Enrolment(
            id=self._new_id(receiver, now),
            receiver=receiver,
            way=way,
            step=EnrolmentStep.CONFIRMED if alone else EnrolmentStep.LISTENING,
            started=now,
            asked_by=asked_by,
            typed=serial,
            confirmed=typed if alone else (),
        )
        return _Session(enrolment, max(1, min(seconds, MAX_SECONDS)), self._clock.monotonic())

    def _marked(self, heard: tuple[Heard, ...]) -> tuple[Heard, ...]:
        """Those that are revoked say so: whoever has found one is not to think that it will work."""
        revoked = self._revoked()
        return tuple(replace(each, revoked=each.serial in revoked) for each in heard)

    def _new_id(self, receiver: str, now: datetime) -> str:
        """A clock that is wrong at each start may give a time twice."""
        known = self._sessions.get(receiver, {})
        ids = (f"e-{now:%Y%m%d-%H%M%S}-{number}" for number in self._count)
        return next(each for each in ids if each not in known)

    def _remember(self, session: _Session) -> None:
        kept = self._sessions.setdefault(session.enrolment.receiver, {})
        kept[session.enrolment.id] = session
        for old in list(kept)[:-_REMEMBERED]:
            if kept[old].window is None:
                del kept[old]

    def _find(self, receiver: str, enrolment_id: str) -> _Session:
        self._site.receiver(receiver)
        session = self._sessions.get(receiver, {}).get(enrolment_id)
        if session is None:
            raise NotFound(
                f"There is no enrolment {enrolment_id} at {receiver}.",
                remedy="Only the newest ones are remembered; start it again.",
            )
        return session

    def _driver(self, name: str) -> Receiver:
        driver = self._site.with_slots(name)
        if Capability.ENROLMENT not in driver.capabilities:
            raise Unsupported(
                f"{name} can't listen for transmitters.",
                remedy="Type the serial into the roster, as it is printed on the transmitter.",
            )
        return driver

    def _take(self, receiver: str) -> None:
        mirror = self._mirrors.load(receiver)
        if mirror is not None and not mirror.confirmed:
            raise Refused(
                f"Another receiver than before answers as {receiver}.",
                remedy="Confirm that it was replaced on purpose, or put the right one back.",
                code="receiver-unconfirmed",
            )
        if receiver in self._busy:
            raise Refused(
                f"{receiver} listens for another enrolment already.",
                remedy="Wait until that one has ended, or cancel it.",
                code="enrolment-running",
            )
        self._busy.add(receiver)

    async def _set(self, session: _Session, step: EnrolmentStep) -> None:
        ends = session.enrolment.ends if step.is_listening else None
        session.enrolment = replace(session.enrolment, step=step, ends=ends)
        await self._tell(session)

    async def _tell(self, session: _Session) -> None:
        """A step that can't be kept just now is still seen by whoever asks for the enrolment."""
        with contextlib.suppress(StoreUnavailable):
            await self._journal.commit(self._told(session))

    def _told(self, session: _Session) -> Commit:
        """The step as an event, and what a restart is to know of it."""
        enrolment = session.enrolment
        event = EventDraft(EventName.ENROLMENT_CHANGED, enrolment.receiver, enrolment_data(enrolment))
        known = {**self._sessions.get(enrolment.receiver, {}), enrolment.id: session}
        kept = self._memory.document(enrolment.receiver, [each.enrolment for each in known.values()])
        return Commit(events=(event,), documents=kept)

    def _recall(self, receiver: str) -> None:
        """What was there before a restart. A confirmed serial has its half hour anew: nobody could complete it."""
        for enrolment, cut in self._memory.load(receiver):
            session = _Session(enrolment, 0, self._clock.monotonic())
            session.ended.set()
            self._remember(session)
            if cut:
                self._cut.append(session)


def _check_typed(serial: int | None) -> None:
    if serial is None:
        raise Refused(
            "A serial is needed for this.",
            remedy="Type the digits that are printed on the transmitter, or choose two presses.",
            code="serial-missing",
        )
    if not 0 < serial <= MAX_SERIAL:
        raise Refused(
            f"{serial} is not a serial.",
            remedy=f"A serial is a number from 1 to {MAX_SERIAL}, as printed on the transmitter.",
            code="serial-out-of-range",
        )
