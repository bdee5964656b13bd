"""Looking at one receiver: who it is, its status, what its ring tells since the last look, and telling it.

Every look goes through here, the poller's and the mirror keeper's, one at a time, so that events are in order
and none is told twice. The ring is the truth where there is one; the status fills in what a ring lost or never had.
While another receiver answers than the known one, its ring is left alone and only what its status shows is told; the
cursor still stands in the known one's ring for the day it returns. While the link password is refused nothing can
be told, and the ring is read late.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import structlog

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName, Span
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Battery, Capability, Identity, Limits, RingPlace, RingRead, Status
from gateway.domain.urgency import Urgency
from gateway.errors import ReceiverRefused, StoreUnavailable
from gateway.ports import Journal, Keepsakes, Mirrors, Receiver
from gateway.watch.batteries import batteries_of
from gateway.watch.condensing import Condenser
from gateway.watch.origins import Origins
from gateway.watch.recall import Recalled, recall
from gateway.watch.recognition import never_read, same_receiver, strangeness
from gateway.watch.spans import Reading
from gateway.watch.teller import Teller
from gateway.watch.telling import Names, Told, View, tell_differences, tell_entries
from gateway.watch.turned import turn_read, turn_status

__all__ = ["GAP_S", "PASSWORD_CODES", "UNCONFIRMED", "Follower", "Look"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.watch")

#: What is found after a longer pause than this is late (rule 12); our choice: ten polls at the default rate.
GAP_S = 2.0
#: The codes of ReceiverRefused that say that the receiver stays locked.
PASSWORD_CODES = frozenset({"password-refused", "password-wait", "locked"})
UNCONFIRMED = "unconfirmed"
REFUSED_PAUSE_S = 30.0


@dataclass(frozen=True, slots=True)
class Look:
    """What one look found."""

    identity: Identity
    limits: Limits
    status: Status


class Follower:
    """Follows one receiver. `lock` is held during a look, and by whoever commits a mirror."""

    def __init__(
        self,
        receiver: Receiver,
        *,
        teller: Teller,
        journal: Journal,
        mirrors: Mirrors,
        clock: Clock,
        names: Names | None = None,
        turned: frozenset[int] = frozenset(),
        keepsakes: Keepsakes | None = None,
    ) -> None:
        self.receiver = receiver
        self._keepsakes = keepsakes
        self._turned = turned
        self.teller = teller
        self.origins = Origins()
        self.lock = asyncio.Lock()
        self.strange = ""
        self.refused: ReceiverRefused | None = None
        self.last: Look | None = None
        self.on_answer: Callable[[Look], None] = _nobody
        self._journal = journal
        self._mirrors = mirrors
        self._clock = clock
        self._names = names or Names()
        self._recalled: Recalled | None = None
        self._view: View | None = None
        self._condenser = Condenser()
        self._told_at: float | None = None
        self._stranger: Identity | None = None
        self._ring_skipped = False
        self._ring_again_at = 0.0

    @property
    def name(self) -> str:
        return self.receiver.name

    def output_name(self, number: int) -> str:
        """What people call an output of it; empty when it has no name."""
        return self._names.output(self.name, number)

    async def look(self, *, identify: bool = False, urgency: Urgency = Urgency.POLL) -> Look:
        """Read, tell and return. Raises LineError and PeerError; what was told before stays told.

        While the journal fails nothing is raised: what is to be told waits in the teller.
        """
        async with self.lock:
            started = self._clock.monotonic()
            before, look = self.last, await self._read(identify, urgency)
            self.last = look
            await self._judge(look, before)
            read = await self._read_ring(look.status, urgency)
            batteries = await batteries_of(self.receiver, read.entries, urgency) if read else {}
            self.on_answer(look)
            if self._recalled is None:
                self._recalled = await recall(self._journal, self.name)
            if read is not None:
                self._tell(look.status, read, self._reading(started, look.status), batteries)
            await self.teller.flush(lazily=self._condenser.holds)
            return look

    def refuse(self, refusal: ReceiverRefused) -> None:
        """The link password is wrong: leave the ring alone for a while, for each wrong try is delayed."""
        if self.refused is None:
            log.warning("receiver.password_refused", receiver=self.name)
        self.refused = refusal
        self._ring_again_at = self._clock.monotonic() + REFUSED_PAUSE_S

    def admit(self) -> None:
        """The receiver gave what only an unlocked one gives."""
        if self.refused is not None:
            log.info("receiver.password_accepted", receiver=self.name)
        self.refused = None

    def start_ring_anew(self) -> None:
        """The receiver that answers is confirmed: its events count from the newest one on."""
        assert self.last is not None
        status = self.last.status
        self._stranger = None
        if status.boot_count is not None:
            self.teller.cursor = RingPlace(status.boot_count, status.newest_event or 0)

    # --- who it is ---

    async def _read(self, identify: bool, urgency: Urgency) -> Look:
        known = self.last
        if identify or known is None:
            identity, limits = await self.receiver.identify(urgency=urgency)
            return Look(identity, limits, await self._read_status(urgency))
        status = await self._read_status(urgency)
        if status.boot_count != known.status.boot_count:
            identity, limits = await self.receiver.identify(urgency=urgency)
            return Look(identity, limits, status)
        return Look(known.identity, known.limits, status)

    async def _read_status(self, urgency: Urgency) -> Status:
        return turn_status(await self.receiver.read_status(urgency=urgency), self._turned)

    async def _judge(self, look: Look, before: Look | None) -> None:
        """Set `strange`, and tell when another receiver, or the known one again, answers."""
        mirror = self._mirrors.load(self.name)
        self.strange = strangeness(mirror, look.identity, look.status)
        if mirror is None:
            return
        if not self.strange and not mirror.confirmed:
            returned = self._stranger is not None and self._stranger.serial != look.identity.serial
            if returned and await self._commit_judgement(mirror, look, "returned"):
                self._stranger = None
            else:
                self.strange = UNCONFIRMED
        elif self.strange:
            another = self._stranger is not None and self._stranger.serial != look.identity.serial
            if mirror.confirmed:
                await self._keep_last(mirror, before)
            if not (mirror.confirmed or another) or await self._commit_judgement(mirror, look, self.strange):
                self._stranger = look.identity

    async def _keep_last(self, mirror: Mirror, before: Look | None) -> None:
        """Archive what the known receiver held last, before anybody can say that another one is right."""
        if self._keepsakes is not None and not never_read(mirror):
            its_own = before is not None and same_receiver(mirror.identity, before.identity)
            status = before.status if before is not None and its_own else None
            await self._keepsakes.keep(mirror, reason="replaced", status=status)

    async def _commit_judgement(self, mirror: Mirror, look: Look, reason: str) -> bool:
        """False when the journal can't be written; the next look then judges again."""
        confirmed = reason == "returned"
        data = {
            "reason": reason,
            "known": mirror.identity.serial,
            "answers": look.identity.serial,
            "confirmed": confirmed,
        }
        draft = EventDraft(EventName.RECEIVER_REPLACED, self.name, data)
        try:
            await self.teller.commit([draft], replace(mirror, confirmed=confirmed))
        except StoreUnavailable:
            return False
        log.warning("receiver.replaced", receiver=self.name, reason=reason)
        return True

    # --- what it tells ---

    async def _read_ring(self, status: Status, urgency: Urgency) -> RingRead | None:
        """The ring's news; an empty read where there is none; None when nothing may be told now."""
        cursor = self.teller.cursor
        if self.teller.full or self._ring_pauses():
            return None
        if cursor is None or not self._has_ring_news(cursor, status):
            return RingRead((), restarted=not self.strange and _restarted(cursor, status))
        try:
            read = await self.receiver.read_ring(cursor, status, urgency=urgency)
        except ReceiverRefused as refusal:
            if refusal.code not in PASSWORD_CODES:
                raise
            self.refuse(refusal)
            return None
        self.admit()
        return turn_read(read, self._turned)

    def _ring_pauses(self) -> bool:
        has_ring = Capability.EVENTS in self.receiver.capabilities
        return has_ring and self.refused is not None and self._clock.monotonic() < self._ring_again_at

    def _has_ring_news(self, cursor: RingPlace, status: Status) -> bool:
        if self.strange or Capability.EVENTS not in self.receiver.capabilities:
            return False
        if status.boot_count is None or status.newest_event is None or _went_back(cursor, status):
            return False
        return cursor != RingPlace(status.boot_count, status.newest_event)

    def _reading(self, started: float, status: Status) -> Reading:
        ended = self._clock.monotonic()
        since = None if self._told_at is None else ended - self._told_at
        not_before = self._recalled.newest if self._recalled else None
        return Reading(self._clock.now(), ended - started, status.uptime_s, since, not_before)

    def _tell(self, status: Status, read: RingRead, reading: Reading, batteries: Mapping[int, Battery]) -> None:
        mirror = self._mirrors.load(self.name)
        assert self._recalled is not None
        view = self._view or self._recalled.view(status)
        told: list[Told] = []
        cursor = self.teller.cursor
        if read.restarted:
            told.append(self._restarted(cursor, status, reading))
        overrun = self._overrun(cursor, status, read)
        told += overrun
        if read.restarted or overrun or self._ring_skipped:
            self.origins.forget()
            view = view.in_doubt()
        self._ring_skipped = bool(self.strange)
        self.origins.see(read.entries)
        entries, view = tell_entries(self.name, read.entries, view, mirror, self._names, batteries=batteries)
        told += entries
        told += tell_differences(self.name, view, status, self._names)
        self._view = View.of(status)
        late = reading.since_last_s is None or reading.since_last_s > GAP_S
        self._told_at = self._clock.monotonic()
        told = self._condenser.condense(told, self._told_at, status.uptime_s)
        self.teller.add([_timed(one, reading, late) for one in told], self._next_cursor(status))

    def _restarted(self, cursor: RingPlace | None, status: Status, reading: Reading) -> Told:
        before = cursor.boot_count if cursor else None
        data = {
            "boot_count": status.boot_count,
            "boot_count_before": before,
            "events_may_be_missing": Capability.EVENTS in self.receiver.capabilities,
            "unwatched_s": None if reading.since_last_s is None else round(reading.since_last_s, 1),
        }
        return Told(EventDraft(EventName.RECEIVER_RESTARTED, self.name, data), 0.0)

    def _overrun(self, cursor: RingPlace | None, status: Status, read: RingRead) -> list[Told]:
        lost: int | None = read.lost
        if not lost and cursor is not None and not self.strange and _went_back(cursor, status):
            lost = None
        if lost == 0:
            return []
        log.warning("ring.overrun", receiver=self.name, lost=lost)
        first = read.entries[0].place.number if read.entries else None
        draft = EventDraft(EventName.RING_OVERRUN, self.name, {"lost": lost, "next_event": first})
        return [Told(draft, read.entries[0].uptime_s if read.entries else None)]

    def _next_cursor(self, status: Status) -> RingPlace | None:
        if self.strange or status.boot_count is None:
            return None
        return RingPlace(status.boot_count, status.newest_event or 0)


def _restarted(cursor: RingPlace | None, status: Status) -> bool:
    return cursor is not None and status.boot_count is not None and cursor.boot_count != status.boot_count


def _went_back(cursor: RingPlace, status: Status) -> bool:
    """True when a ring's newest number is below one that was read in the same run of the receiver."""
    newest = status.newest_event
    return cursor.boot_count == status.boot_count and newest is not None and newest < cursor.number


def _timed(told: Told, reading: Reading, late: bool) -> tuple[EventDraft, Span]:
    span = reading.of_gap() if told.uptime_s is None else reading.of_uptime(told.uptime_s)
    return (replace(told.draft, late=span) if late else told.draft), span


def _nobody(look: Look) -> None:
    """Nobody listens yet."""
