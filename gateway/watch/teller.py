"""The one way from a receiver's events into the journal.

One teller per receiver. What is to be told waits in memory, in order, with the ring place that it reaches to, and
goes into one commit. While the journal can't be written nothing is published and the stored cursor stands still, so
a restart reads the ring again; what waits here is told late, with the time at which it can have happened.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import structlog

from gateway.clock import Clock
from gateway.domain.events import EventDraft, Span
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import RingPlace
from gateway.errors import StoreUnavailable
from gateway.ports import Commit, Journal
from gateway.watch.unbroken import unbroken

__all__ = ["MAX_WAITING", "Teller"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.watch")

#: How many events of one receiver wait in memory while the journal can't be written; our choice: a busy day's
#: worth, well under 4 MiB. After that the receiver's own ring keeps what comes.
MAX_WAITING = 2000
#: First and longest pause between two tries while the journal can't be written.
RETRY_S = (1.0, 8.0)


@dataclass(frozen=True, slots=True)
class _Waiting:
    draft: EventDraft
    span: Span


class Teller:
    """Events of one receiver on their way into the journal."""

    def __init__(
        self,
        receiver: str,
        *,
        journal: Journal,
        clock: Clock,
        cursor: RingPlace | None,
        visited: Callable[[], frozenset[str]] = frozenset,
    ) -> None:
        """`visited` are the receivers that people work at now: what is told of one then has `visit` in its data."""
        self._receiver = receiver
        self._visited = visited
        self._journal = journal
        self._clock = clock
        self._lock = asyncio.Lock()
        self._waiting: deque[_Waiting] = deque()
        self._stored = cursor
        self._retry_at = 0.0
        self._pause_s = RETRY_S[0]
        self.cursor = cursor
        self.failure: StoreUnavailable | None = None

    @property
    def full(self) -> bool:
        """True when nothing more may be added before something has become durable."""
        return len(self._waiting) >= MAX_WAITING

    def add(self, drafts: Sequence[tuple[EventDraft, Span]], cursor: RingPlace | None = None) -> None:
        """Let events wait, and move the cursor to the place that they reach to."""
        self._waiting.extend(_Waiting(self._marked(draft), span) for draft, span in drafts)
        if cursor is not None:
            self.cursor = cursor

    async def flush(self, *, lazily: bool = False) -> bool:
        """Make durable what waits. False when it can't be now; it is tried again with a growing pause.

        `lazily`: a cursor that nothing is told with is left for the next commit; a restart reads the ring from the
        older one.
        """
        if not self._waiting and (lazily or self.cursor == self._stored):
            return True
        if self.failure is not None and self._clock.monotonic() < self._retry_at:
            return False
        try:
            await self.commit()
        except StoreUnavailable:
            return False
        return True

    async def commit(self, events: Sequence[EventDraft] = (), mirror: Mirror | None = None) -> None:
        """Make durable what waits, then these events and this mirror, all in one.

        Raises StoreUnavailable: `events` and `mirror` are then the caller's to give again; what waited waits on.
        """
        async with self._lock:
            waiting, cursor = tuple(self._waiting), self.cursor
            drafts = tuple(self._as_told(one) for one in waiting) + tuple(map(self._marked, events))
            cursors = {self._receiver: cursor} if cursor is not None and cursor != self._stored else {}
            if not drafts and not cursors and mirror is None:
                return
            work = self._journal.commit(Commit(events=drafts, cursors=cursors, mirror=mirror))
            try:
                _, cancelled = await unbroken(work)
            except StoreUnavailable as failure:
                self._failed(failure)
                raise
            for _ in waiting:
                self._waiting.popleft()
            self._stored = cursor
            self._recovered()
        if cancelled is not None:
            raise cancelled

    def _marked(self, draft: EventDraft) -> EventDraft:
        if self._receiver not in self._visited():
            return draft
        return replace(draft, data={**draft.data, "visit": True})

    def _as_told(self, one: _Waiting) -> EventDraft:
        if self.failure is None or one.draft.late is not None:
            return one.draft
        return replace(one.draft, late=one.span)

    def _failed(self, failure: StoreUnavailable) -> None:
        if self.failure is None:
            log.warning("journal.unavailable", receiver=self._receiver, code=failure.code)
            self._pause_s = RETRY_S[0]
        self.failure = failure
        self._retry_at = self._clock.monotonic() + self._pause_s
        self._pause_s = min(self._pause_s * 2, RETRY_S[1])

    def _recovered(self) -> None:
        if self.failure is not None:
            log.info("journal.available", receiver=self._receiver)
            self.failure = None
