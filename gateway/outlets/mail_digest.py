"""The daily digest: when it is due, and what is in it.

It tells of what happened since the one of the day before: 23, 24 or 25 hours, as the site's clocks have it, so that
nothing is counted twice or left out. The day that it was last sent for is kept with the journal, so that a restart
sends no second one. A clock that goes back sends none again; one that had been days ahead is not waited for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from email.message import EmailMessage

import structlog

from gateway.domain.events import Event
from gateway.errors import StoreError
from gateway.outlets.mail_pace import DailyTime
from gateway.outlets.mail_text import Told, digest_mail, told_of
from gateway.ports import Commit, EventFilter, Journal, Runs

__all__ = ["Digest"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.outlets")

_TOO_LATE = timedelta(hours=12)
_AHEAD = timedelta(days=1)
_PAGE = 500


class Digest:
    """Of one outlet. `wants` says which events are counted."""

    def __init__(
        self,
        outlet: str,
        at: DailyTime,
        *,
        site: str,
        wants: Callable[[Event], bool],
        journal: Journal,
        runs: Runs,
        standing: Callable[[], Sequence[str]],
    ) -> None:
        self._outlet = outlet
        self._site = site
        self._at = at
        self._wants = wants
        self._journal = journal
        self._runs = runs
        self._standing = standing
        self._noted: datetime | None = None

    async def due(self, now: datetime) -> datetime | None:
        """The time for which one is to be sent now, None without one. What begins now begins with the next."""
        newest = self._at.newest(now)
        done = [each for each in (self._runs.last(self._run_name), self._noted) if each and each - now <= _AHEAD]
        if not done:
            await self.note(newest)
            return None
        return newest if max(done) < newest and now - newest < _TOO_LATE else None

    async def note(self, due: datetime) -> None:
        """It was sent. Also from memory, so that a full disk makes no second one."""
        self._noted = due
        try:
            await self._journal.commit(Commit(runs={self._run_name: due}))
        except StoreError as fault:
            log.warning("mail.digest_not_noted", outlet=self._outlet, code=fault.code)

    async def mail(self, due: datetime) -> EmailMessage:
        """What happened until then, counted, and what stands now. Raises StoreError."""
        since = self._at.before(due)
        counts = await self._count(EventFilter(since=since, until=due))
        return digest_mail(
            counts, site=self._site, zone=self._at.zone, since=since, until=due, standing=self._standing()
        )

    async def _count(self, wanted: EventFilter) -> Counter[Told]:
        """Page by page: a day may have a hundred thousand events."""
        counts: Counter[Told] = Counter()
        after = 0
        while page := await self._journal.read(after, limit=_PAGE, wanted=wanted):
            counts.update(told_of(event) for event in page if self._wants(event))
            after = page[-1].id.number
        return counts

    @property
    def _run_name(self) -> str:
        return f"digest {self._outlet}"
