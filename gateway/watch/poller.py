"""Polling one receiver, and having its mirror refreshed when it is no longer true.

Two tasks: one polls at its pace and says what the link is like, the other waits for a reason to refresh the mirror.
So a long reading of the memory never holds up the polls; the line lets them overtake.
A revision that moves is left alone until it has stood still for a second: while a plan is written, or somebody
teaches transmitters at the board, each step would else be read on its own.
"""

from __future__ import annotations

import asyncio
import contextlib

import structlog

from gateway.clock import Clock
from gateway.domain.events import Span
from gateway.domain.live import LinkState
from gateway.domain.receiver import Status
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, LineError, PeerError, Refused, StoreError
from gateway.ports import Mirrors
from gateway.watch.contact import Contact, Hindrance
from gateway.watch.follower import Follower, Look
from gateway.watch.keeper import Keeper
from gateway.watch.live_board import LiveBoard
from gateway.watch.pace import LineShare, Pace
from gateway.watch.recognition import stranger_words

__all__ = ["SETTLE_S", "Poller"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.watch")

#: How long a revision must stand still before the mirror is refreshed; our choice.
SETTLE_S = 1.0
#: First and longest pause after a refresh that failed.
REFRESH_AGAIN_S = (2.0, 30.0)


class Poller:
    """The tasks of one receiver."""

    def __init__(
        self,
        follower: Follower,
        *,
        keeper: Keeper,
        board: LiveBoard,
        mirrors: Mirrors,
        clock: Clock,
        share: LineShare,
        rate_hz: float,
    ) -> None:
        self._follower = follower
        self._keeper = keeper
        self._board = board
        self._mirrors = mirrors
        self._clock = clock
        self._share = share
        self._pace = Pace(rate_hz, share)
        self._contact = Contact(follower.name, clock.now(), clock.monotonic())
        self._back = asyncio.Event()
        self._stale = asyncio.Event()
        self._refreshing = False
        self._moving: tuple[int | None, float] = (None, 0.0)
        self._refresh_at = 0.0
        self._refresh_pause_s = REFRESH_AGAIN_S[0]
        self._refresh_fault = ""
        follower.on_answer = self._answered

    async def run(self) -> None:
        """Poll until cancelled."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._poll_for_ever())
            group.create_task(self._keep_mirror())

    # --- polling ---

    async def _poll_for_ever(self) -> None:
        while True:
            started = self._clock.monotonic()
            await self._poll(started)
            probe_s = self._contact.pause_s()
            if probe_s is not None:
                await self._wait_back(probe_s)
            else:
                await self._clock.sleep(max(0.0, started + self._pace.interval_s - self._clock.monotonic()))

    async def _wait_back(self, at_most_s: float) -> None:
        """Wait for the next probe, or until somebody else's request was answered."""
        self._back.clear()
        with contextlib.suppress(TimeoutError):
            async with self._clock.timeout(at_most_s):
                await self._back.wait()

    async def _poll(self, started: float) -> None:
        """One poll, with everything that follows from how it went."""
        identify = self._contact.down or self._follower.last is None
        try:
            look = await self._follower.look(identify=identify)
        except (LineError, PeerError, Refused) as error:
            await self._failed(error)
            return
        self._pace.polled(started, self._clock.monotonic())
        self._show(look.status)
        if self._is_stale(look.status):
            self._stale.set()

    def _answered(self, look: Look) -> None:
        """Called when a look has read everything, the keeper's too, before its news is told."""
        was_down = self._contact.down
        self._contact.answered(self._clock.now(), self._hindrance())
        if was_down:
            log.info("link.restored", receiver=self._follower.name)
            self._back.set()
        self._share.set_active(self._follower.name, True)
        self._tell_link()
        self._board.update(
            self._follower.name,
            identity=look.identity,
            limits=look.limits,
            status=look.status,
            read_monotonic=self._clock.monotonic(),
        )

    async def _failed(self, error: GatepostError) -> None:
        was_down = self._contact.down
        self._contact.failed(error, self._clock.now(), self._clock.monotonic())
        if self._contact.down:
            self._pace.broken()
            self._share.set_active(self._follower.name, False)
            if not was_down:
                log.warning("link.lost", receiver=self._follower.name, code=error.code)
        self._tell_link()
        await self._follower.teller.flush()
        self._show(None)

    def _tell_link(self) -> None:
        teller = self._follower.teller
        if teller.full:
            return
        if news := self._contact.news(self._clock.monotonic()):
            now = self._clock.now()
            teller.add([(news, Span(now, now))])

    def _hindrance(self) -> Hindrance | None:
        follower = self._follower
        if follower.strange:
            answers = follower.last.identity if follower.last else None
            words = stranger_words(self._mirrors.load(follower.name), answers, follower.strange)
            return Hindrance(LinkState.WRONG_RECEIVER, *words)
        if follower.refused is not None:
            return Hindrance(LinkState.PASSWORD_REFUSED, follower.refused.message, follower.refused.remedy)
        return None

    def _show(self, status: Status | None) -> None:
        """Bring the live state up to date; the journal's trouble is shown where the link has none."""
        contact, store = self._contact, self._follower.teller.failure
        mirror = self._mirrors.load(self._follower.name)
        if status is not None:
            contact.answered(self._clock.now(), self._hindrance())
        self._board.update(
            self._follower.name,
            link=contact.state,
            since=contact.since,
            problem=contact.problem or (store.message if store else ""),
            remedy=contact.remedy or (store.remedy if store else ""),
            poll_rate_hz=round(self._pace.reached_hz, 2),
            mirror_revision=mirror.revision if mirror else None,
        )

    # --- the mirror ---

    def _is_stale(self, status: Status) -> bool:
        """Whether it is time to refresh the mirror."""
        follower, now = self._follower, self._clock.monotonic()
        if self._refreshing or follower.strange or now < self._refresh_at:
            return False
        mirror = self._mirrors.load(follower.name)
        if mirror is not None and mirror.revision == (status.revision or 0) and self._keeper.is_proven(follower.name):
            return False
        if mirror is None or self._moving[0] is None:
            self._moving = (status.revision, now)
            return True
        if status.revision != self._moving[0]:
            self._moving = (status.revision, now)
        return now - self._moving[1] >= SETTLE_S

    async def _keep_mirror(self) -> None:
        while True:
            await self._stale.wait()
            self._stale.clear()
            self._refreshing = True
            try:
                await self._keeper.refresh(self._follower.name, urgency=Urgency.BULK)
            except (LineError, PeerError, Refused, StoreError) as error:
                self._refresh_failed(error)
            else:
                self._refresh_pause_s, self._refresh_fault = REFRESH_AGAIN_S[0], ""
            finally:
                self._refreshing = False

    def _refresh_failed(self, error: GatepostError) -> None:
        if error.code != self._refresh_fault:
            log.warning("mirror.refresh_failed", receiver=self._follower.name, code=error.code)
        self._refresh_fault = error.code
        self._refresh_at = self._clock.monotonic() + self._refresh_pause_s
        self._refresh_pause_s = min(self._refresh_pause_s * 2, REFRESH_AGAIN_S[1])
