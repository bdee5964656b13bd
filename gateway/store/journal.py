"""The journal: the durable, numbered list of events, and the one door to everything that is written with it.

A commit is one transaction: events, ring cursors, a mirror, plans, proofs and runs become durable together or
not at all, and only then is anybody told. Readers go by number and wait on one wake-up; there is no queue per
listener.
"""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.events import Event, EventId, EventName
from gateway.ports import Commit, EventFilter, Trust
from gateway.store.codec import CodecFault, canonical, parse, to_micros
from gateway.store.database import Database
from gateway.store.documents import SqliteDocuments
from gateway.store.eventrows import Stamp, add_events, forget, forget_oldest, newest_number, oldest_number, read_events
from gateway.store.eventtally import tally_events
from gateway.store.faults import damaged
from gateway.store.memoryspans import MemorySpans
from gateway.store.mirrors import SqliteMirrors
from gateway.store.moments import Moments
from gateway.store.outbox import SqliteOutbox
from gateway.store.plans import write_plan
from gateway.store.proofs import SqliteProofs, SqliteRuns

__all__ = ["KEEP_EVENTS", "SqliteJournal"]

_EVERYTHING = EventFilter()
#: Our choice: some 200 MB, years of a quiet site; outlets can catch up as far back.
KEEP_EVENTS = 500_000
#: Rows that one transaction of retention deletes; short, so that a commit in between is not held up.
_FORGET_ROWS = 2000


@dataclass(frozen=True, slots=True)
class _Written:
    numbers: tuple[int, ...]
    oldest: int


class SqliteJournal:
    """`ports.Journal`, and retention. `epoch` names this life of the journal."""

    def __init__(
        self,
        database: Database,
        *,
        clock: Clock,
        trust: Trust,
        boot_id: str,
        epoch: str,
        mirrors: SqliteMirrors,
        proofs: SqliteProofs,
        runs: SqliteRuns,
        documents: SqliteDocuments,
        outbox: SqliteOutbox,
        moments: Moments,
    ) -> None:
        self._database = database
        self._clock = clock
        self._trust = trust
        self._boot_id = boot_id
        self._epoch = epoch
        self._mirrors = mirrors
        self._proofs = proofs
        self._runs = runs
        self._documents = documents
        self._outbox = outbox
        self._moments = moments
        self._spans = MemorySpans(moments)
        self._newest = 0
        self._oldest = 0
        self._grown = asyncio.Event()
        self._loop = asyncio.get_running_loop()

    async def load(self) -> None:
        """Read numbers, mirrors, proofs and runs into memory. Raises StoreDamaged."""
        await self._database.write(self._fill)

    @property
    def newest(self) -> EventId:
        return EventId(self._epoch, self._newest)

    @property
    def oldest_number(self) -> int:
        return self._oldest

    @property
    def problem(self) -> str:
        """Why nothing can be written at the moment, for people; empty while it can. From memory."""
        return self._database.problem

    async def commit(self, commit: Commit) -> tuple[Event, ...]:
        """All or nothing; durable when it returns. Cancelled, it is still either whole or not there.

        Raises StoreUnavailable, StoreDamaged, and TypeError or ValueError for data that is not plain JSON.
        """
        data = tuple(canonical(dict(draft.data)) for draft in commit.events)
        stamp = self._stamp()
        to_micros(stamp.time)
        written = await self._database.write(
            lambda db: self._write(db, commit, data, stamp), lambda result: self._keep(commit, result)
        )
        return tuple(
            Event(
                id=EventId(self._epoch, number),
                name=draft.name,
                receiver=draft.receiver,
                time=stamp.time,
                clock_trusted=stamp.clock_trusted,
                boot_id=stamp.boot_id,
                monotonic_s=stamp.monotonic_s,
                data=parse(text),
                late=draft.late,
            )
            for number, draft, text in zip(written.numbers, commit.events, data, strict=True)
        )

    async def read(
        self, after: int, *, limit: int = 100, wanted: EventFilter = _EVERYTHING, newest_first: bool = False
    ) -> tuple[Event, ...]:
        try:
            return await self._database.read(
                lambda db: read_events(db, self._epoch, after, limit=limit, wanted=wanted, newest_first=newest_first)
            )
        except CodecFault as fault:
            raise self._database.found_damaged(str(fault)) from fault

    async def tally(self, wanted: EventFilter, outputs: Collection[int] = ()) -> dict[datetime, int]:
        return await self._database.read(lambda db: tally_events(db, wanted, tuple(outputs)))

    async def wait_newer(self, number: int) -> None:
        while True:
            grown = self._grown
            if self._newest > number:
                return
            await grown.wait()

    async def forget_heard(self, before: datetime) -> int:
        """Delete every `transmitter.heard` older than `before`, also from the write-ahead log; how many.

        Numbers are never given again. Call it only while the clock is trusted.
        """
        to_micros(before)
        total = 0
        while True:
            deleted = await self._database.write(
                lambda db: (forget(db, EventName.TRANSMITTER_HEARD, before, _FORGET_ROWS), oldest_number(db)),
                lambda result: self.oldest_is(result[1]),
            )
            total += deleted[0]
            if deleted[0] < _FORGET_ROWS:
                break
        if total:
            await self._database.checkpoint()
        return total

    async def forget_beyond(self, keep: int) -> int:
        """Delete the oldest events beyond the newest `keep`; how many. Needs no clock.

        This bounds the disk, and how far back an outlet can catch up.
        """
        total = 0
        while True:
            deleted = await self._database.write(
                lambda db: (forget_oldest(db, keep, _FORGET_ROWS), oldest_number(db)),
                lambda result: self.oldest_is(result[1]),
            )
            total += deleted[0]
            if deleted[0] < _FORGET_ROWS:
                break
        if total:
            await self._database.checkpoint()
        return total

    def _stamp(self) -> Stamp:
        return Stamp(self._clock.now(), self._trust.trusted, self._boot_id, self._clock.monotonic())

    def _fill(self, db: sqlite3.Connection) -> None:
        try:
            self._newest, self._oldest = newest_number(db), oldest_number(db)
            self._mirrors.fill(db)
            self._proofs.fill(db)
            self._runs.fill(db)
            self._documents.fill(db)
            self._outbox.fill(db)
            self._moments.fill(db)
            self._spans.fill(db)
            self._spans.drop()
            stamp = self._stamp()
            self._moments.settle(db, stamp)
            self._spans.begin(db, self._mirrors.all(), stamp)
            self._moments.keep()
            self._spans.keep()
        except CodecFault as fault:
            raise damaged(self._database.path, str(fault)) from fault

    def _write(self, db: sqlite3.Connection, commit: Commit, data: tuple[str, ...], stamp: Stamp) -> _Written:
        numbers = add_events(db, commit.events, data, stamp)
        self._moments.settle(db, stamp)
        self._spans.drop()
        self._mirrors.write_cursors(db, commit.cursors)
        if commit.mirror is not None:
            self._mirrors.write_mirror(db, commit.mirror)
            self._spans.write(db, commit.mirror, stamp)
        for plan in commit.plans:
            write_plan(db, plan)
        self._proofs.write(db, commit.proven, commit.unproven)
        self._runs.write(db, commit.runs)
        self._documents.write(db, commit.documents)
        self._outbox.write(db)
        return _Written(numbers, self._oldest or (numbers[0] if numbers else 0))

    def _keep(self, commit: Commit, written: _Written) -> None:
        """In the writing thread, right after the commit."""
        self._mirrors.keep(commit.mirror, commit.cursors)
        self._proofs.keep()
        self._runs.keep(commit.runs)
        self._documents.keep()
        self._outbox.keep()
        self._moments.keep()
        self._spans.keep()
        self._oldest = written.oldest
        if written.numbers:
            self._newest = written.numbers[-1]
            self._loop.call_soon_threadsafe(self._wake)

    def oldest_is(self, number: int) -> None:
        """In the writing thread, after rows were deleted: the lowest number kept now."""
        self._oldest = number

    def _wake(self) -> None:
        grown, self._grown = self._grown, asyncio.Event()
        grown.set()
