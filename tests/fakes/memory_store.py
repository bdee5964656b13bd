"""The gateway's own memory, in memory: journal, mirrors, plans, proofs, runs, ledger, tokens, snapshots, rosters.

`MemoryStore` stands in for what `store/` and `archive/` offer through the ports. It outlives the use cases that
are built on it, so a test restarts the gateway by building them anew over the same store. `full` makes every
commit fail as a full disk does; `fail_commits` fails that many and then recovers; `lose_database` starts a new
epoch with everything but the ledger, the snapshots and the kept rosters gone.

It knows nothing of SQLite; what it keeps of an event's data is what JSON keeps.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import secrets
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import TypeVar

from gateway.clock import Clock
from gateway.domain.drift import Drift
from gateway.domain.enrolment import Override
from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.domain.receiver import RingPlace, Slot, Status
from gateway.domain.revocation import Revocation
from gateway.domain.snapshot import Snapshot
from gateway.domain.wait import RosterWait
from gateway.errors import NotFound, StoreUnavailable
from gateway.ports import Commit, EventFilter, Fetched, RosterAcceptance, Token
from gateway.store.codec import canonical, decode, encode, parse
from gateway.store.snapshotfiles import read_document, to_document

__all__ = [
    "MemoryArchive",
    "MemoryDocuments",
    "MemoryJournal",
    "MemoryLedger",
    "MemoryMirrors",
    "MemoryPlans",
    "MemoryProofs",
    "MemoryRosters",
    "MemoryRuns",
    "MemorySnapshots",
    "MemoryStore",
    "MemoryTokens",
]

T = TypeVar("T")

_START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
_EVERYTHING = EventFilter()


class MemoryMirrors:
    """`ports.Mirrors`."""

    def __init__(self) -> None:
        self.kept: dict[str, Mirror] = {}

    def load(self, receiver: str) -> Mirror | None:
        return self.kept.get(receiver)


class MemoryPlans:
    """`ports.Plans`; `saved` has every state that a plan was ever saved in, oldest first."""

    def __init__(self) -> None:
        self.kept: dict[str, Plan] = {}
        self.saved: list[Plan] = []

    async def load(self, plan_id: str) -> Plan | None:
        return self.kept.get(plan_id)

    async def newest(
        self, *, receiver: str | None = None, limit: int = 50, before: str | None = None
    ) -> tuple[Plan, ...]:
        plans = [p for p in reversed(self.kept.values()) if receiver in (None, p.receiver)]
        if before is not None:
            ids = [plan.id for plan in plans]
            plans = plans[ids.index(before) + 1 :] if before in ids else []
        return tuple(plans[:limit])

    async def unfinished(self, receiver: str | None = None) -> tuple[Plan, ...]:
        plans = (plan for plan in self.kept.values() if receiver in (None, plan.receiver))
        return tuple(plan for plan in plans if not plan.state.is_final)


class MemoryProofs:
    """`ports.Proofs`."""

    def __init__(self) -> None:
        self.kept: set[tuple[int, str]] = set()

    def proven(self, serial: int) -> frozenset[str]:
        return frozenset(receiver for known, receiver in self.kept if known == serial)


class MemoryRuns:
    """`ports.Runs`: when each timetable last ran."""

    def __init__(self) -> None:
        self.kept: dict[str, datetime] = {}

    def last(self, name: str) -> datetime | None:
        return self.kept.get(name)


class MemoryDocuments:
    """`ports.Documents`; what is kept is what the store's own form of it keeps."""

    def __init__(self) -> None:
        self.kept: dict[str, str] = {}

    def load(self, key: str, kind: type[T]) -> T | None:
        return decode(kind, parse(self.kept[key])) if key in self.kept else None


class MemoryLedger:
    """`ports.Ledger`; `old_slots` has what each receiver held when a serial was revoked."""

    def __init__(self) -> None:
        self._revoked: dict[int, Revocation] = {}
        self._accepted: RosterAcceptance | None = None
        self._waits: dict[str, RosterWait] = {}
        self._overrides: dict[int, Override] = {}
        self._drifts: dict[tuple[str, int], Drift] = {}
        self._unlocked: set[str] = set()
        self.old_slots: dict[int, dict[str, Slot]] = {}
        self.lifted: list[tuple[int, str, str]] = []
        self.full = False

    async def revoke(self, revocation: Revocation, old_slots: Mapping[str, Slot]) -> None:
        self._refuse_when_full()
        self._revoked[revocation.serial] = replace(revocation, states={})
        self.old_slots[revocation.serial] = dict(old_slots)

    async def keep_drift(self, notes: Collection[Drift], ended: Collection[tuple[str, int]] = ()) -> None:
        self._refuse_when_full()
        self._drifts |= {note.key: decode(Drift, parse(canonical(encode(note)))) for note in notes}
        for key in ended:
            self._drifts.pop(key, None)

    def drifts(self) -> dict[tuple[str, int], Drift]:
        return dict(self._drifts)

    async def lift(self, serial: int, asked_by: str, reason: str, time: datetime) -> None:
        self._refuse_when_full()
        self._revoked.pop(serial, None)
        self.lifted.append((serial, asked_by, reason))

    def revocations(self) -> dict[int, Revocation]:
        return dict(self._revoked)

    async def accept_roster(self, acceptance: RosterAcceptance) -> None:
        self._refuse_when_full()
        self._accepted = acceptance

    @property
    def accepted(self) -> RosterAcceptance | None:
        return self._accepted

    async def begin_wait(self, wait: RosterWait) -> None:
        self._refuse_when_full()
        self._waits[wait.receiver] = wait

    async def end_wait(self, receiver: str) -> None:
        self._refuse_when_full()
        self._waits.pop(receiver, None)

    def waits(self) -> dict[str, RosterWait]:
        return dict(self._waits)

    async def note_unlocked(self, receiver: str) -> None:
        self._refuse_when_full()
        self._unlocked.add(receiver)

    async def note_locked(self, receiver: str) -> None:
        self._refuse_when_full()
        self._unlocked.discard(receiver)

    def unlocked(self) -> frozenset[str]:
        return frozenset(self._unlocked)

    async def keep_override(self, override: Override) -> None:
        self._refuse_when_full()
        self._overrides.pop(override.serial, None)
        self._overrides[override.serial] = override

    async def end_override(self, serial: int) -> None:
        self._refuse_when_full()
        self._overrides.pop(serial, None)

    def overrides(self) -> dict[int, Override]:
        return dict(self._overrides)

    def _refuse_when_full(self) -> None:
        if self.full:
            raise StoreUnavailable("The ledger can't be written.", remedy="Free some disk space.")


class MemoryTokens:
    """`ports.Tokens`."""

    def __init__(self, clock: Clock | None = None) -> None:
        self._clock = clock
        self._kept: dict[str, tuple[Token, str]] = {}

    async def add(self, name: str, scopes: Collection[str]) -> tuple[Token, str]:
        secret = secrets.token_urlsafe(32)
        token = Token(
            id=f"t{len(self._kept) + 1}",
            name=name,
            scopes=frozenset(scopes),
            created=self._clock.now() if self._clock else _START,
        )
        self._kept[token.id] = (token, _hashed(secret))
        return token, secret

    def find(self, secret: str) -> Token | None:
        hashed = _hashed(secret)
        return next((token for token, known in self._kept.values() if known == hashed), None)

    def list(self) -> tuple[Token, ...]:
        return tuple(token for token, _ in self._kept.values())

    async def remove(self, token_id: str) -> None:
        if self._kept.pop(token_id, None) is None:
            raise NotFound(f"There is no token {token_id}.", remedy="List the tokens to see their ids.")


class MemorySnapshots:
    """`ports.Snapshots`."""

    def __init__(self) -> None:
        self.kept: dict[str, Snapshot] = {}

    async def write(self, snapshot: Snapshot) -> Path:
        self.kept[snapshot.id] = snapshot
        return Path(f"{snapshot.id}.json")

    async def read(self, snapshot_id: str) -> Snapshot:
        if snapshot_id not in self.kept:
            raise NotFound(f"There is no snapshot {snapshot_id}.", remedy="List the snapshots to see their ids.")
        return self.kept[snapshot_id]

    async def list(self, receiver: str | None = None) -> tuple[str, ...]:
        return tuple(s.id for s in reversed(self.kept.values()) if receiver in (None, s.receiver))

    async def export(self, snapshot_id: str) -> bytes:
        return json.dumps(to_document(await self.read(snapshot_id))).encode()

    async def parse(self, content: bytes) -> Snapshot:
        return read_document(content)

    async def remove(self, snapshot_id: str) -> None:
        self.kept.pop(snapshot_id, None)


class MemoryArchive:
    """`ports.Archive`: a snapshot from a mirror that is proven equal to the receiver."""

    def __init__(self, snapshots: MemorySnapshots, clock: Clock | None = None) -> None:
        self._snapshots = snapshots
        self._clock = clock

    async def take(self, receiver: str, mirror: Mirror, *, reason: str, status: Status | None) -> Snapshot:
        snapshot = Snapshot(
            id=f"{receiver}-{len(self._snapshots.kept) + 1:04d}",
            receiver=receiver,
            taken=self._clock.now() if self._clock else _START,
            clock_trusted=True,
            reason=reason,
            identity=mirror.identity,
            limits=mirror.limits,
            revision=mirror.revision,
            slots=tuple(mirror.slots[number] for number in sorted(mirror.slots)),
            block_crcs=mirror.block_crcs,
            settings=mirror.settings,
            output_modes=status.output_modes if status else None,
        )
        await self._snapshots.write(snapshot)
        return snapshot


class MemoryRosters:
    """`ports.RosterArchive`: the bytes of accepted rosters by digest."""

    def __init__(self) -> None:
        self.kept: dict[str, Fetched] = {}

    async def keep(self, digest: str, fetched: Fetched) -> None:
        self.kept[digest] = fetched

    async def load(self, digest: str) -> Fetched | None:
        return self.kept.get(digest)


class MemoryJournal:
    """`ports.Journal`. Commits all or nothing, then wakes whoever waits."""

    def __init__(self, store: MemoryStore, clock: Clock | None) -> None:
        self._store = store
        self._clock = clock
        self._events: list[Event] = []
        self._grown = asyncio.Event()
        self.epoch = "m1"
        self.commits: list[Commit] = []
        self.full = False
        self.fail_commits = 0

    async def commit(self, commit: Commit) -> tuple[Event, ...]:
        await asyncio.sleep(0)
        if self.full or self.fail_commits > 0:
            self.fail_commits = max(0, self.fail_commits - 1)
            raise StoreUnavailable("The journal can't be written: the disk is full.", remedy="Free some disk space.")
        events = tuple(self._event(draft, place) for place, draft in enumerate(commit.events, 1))
        self._store.keep(commit)
        self.commits.append(commit)
        self._events.extend(events)
        self._grown.set()
        self._grown = asyncio.Event()
        return events

    @property
    def newest(self) -> EventId:
        return self._events[-1].id if self._events else EventId(self.epoch, 0)

    @property
    def oldest_number(self) -> int:
        return self._events[0].id.number if self._events else 0

    async def read(
        self, after: int, *, limit: int = 100, wanted: EventFilter = _EVERYTHING, newest_first: bool = False
    ) -> tuple[Event, ...]:
        if newest_first:
            end = bisect_left(self._events, after, key=_number) if after else len(self._events)
            rows: Iterable[Event] = reversed(self._events[:end])
        else:
            rows = islice(self._events, bisect_right(self._events, after, key=_number), None)
        return tuple(islice((event for event in rows if _wanted(event, wanted)), limit))

    async def tally(self, wanted: EventFilter, outputs: Collection[int] = ()) -> dict[datetime, int]:
        found: dict[datetime, int] = {}
        for event in self._events:
            named = set(event.data.get("outputs", ())) & set(outputs) or not outputs
            if _wanted(event, wanted) and named and not event.data.get("enrolling"):
                quarter = event.time.replace(minute=event.time.minute // 15 * 15, second=0, microsecond=0)
                found[quarter] = found.get(quarter, 0) + 1
        return found

    async def wait_newer(self, number: int) -> None:
        while self.newest.number <= number:
            await self._grown.wait()

    def all(self, *names: EventName) -> list[Event]:
        """Every event of this epoch, or those of these names: for assertions."""
        return [event for event in self._events if not names or event.name in names]

    def prune(self, keep: int) -> None:
        """Forget all but the newest `keep` events."""
        del self._events[: max(0, len(self._events) - keep)]

    def restart(self, epoch: str) -> None:
        """A new epoch with no events, as with a new database."""
        self.epoch = epoch
        self._events.clear()
        self._grown.set()
        self._grown = asyncio.Event()

    def _event(self, draft: EventDraft, place: int) -> Event:
        return Event(
            id=EventId(self.epoch, self.newest.number + place),
            name=draft.name,
            receiver=draft.receiver,
            time=self._clock.now() if self._clock else _START,
            clock_trusted=True,
            boot_id="boot-1",
            monotonic_s=self._clock.monotonic() if self._clock else float(self.newest.number + place),
            data=json.loads(json.dumps(dict(draft.data), allow_nan=False)),
            late=draft.late,
        )


class MemoryStore:
    """Everything together; hand the parts to what needs them."""

    def __init__(self, clock: Clock | None = None) -> None:
        self.mirrors = MemoryMirrors()
        self.plans = MemoryPlans()
        self.proofs = MemoryProofs()
        self.runs = MemoryRuns()
        self.documents = MemoryDocuments()
        self.cursors: dict[str, RingPlace] = {}
        self.ledger = MemoryLedger()
        self.tokens = MemoryTokens(clock)
        self.snapshots = MemorySnapshots()
        self.archive = MemoryArchive(self.snapshots, clock)
        self.rosters = MemoryRosters()
        self.journal = MemoryJournal(self, clock)

    def keep(self, commit: Commit) -> None:
        """Apply everything in a commit but its events."""
        self.cursors.update(commit.cursors)
        if commit.mirror is not None:
            self.mirrors.kept[commit.mirror.receiver] = commit.mirror
        for name in {*commit.cursors, *([commit.mirror.receiver] if commit.mirror else [])}:
            if name in self.mirrors.kept:
                mirror = self.mirrors.kept[name]
                self.mirrors.kept[name] = replace(mirror, cursor=self.cursors.get(name))
        for plan in commit.plans:
            self.plans.kept[plan.id] = plan
            self.plans.saved.append(plan)
        for serial in commit.unproven:
            self.proofs.kept = {pair for pair in self.proofs.kept if pair[0] != serial}
        self.proofs.kept.update(commit.proven)
        self.runs.kept.update(commit.runs)
        for key, value in commit.documents.items():
            if value is None:
                self.documents.kept.pop(key, None)
            else:
                self.documents.kept[key] = canonical(encode(value))

    def lose_database(self) -> None:
        """A damaged database: mirrors, plans, proofs, runs and events are gone; the files beside it are not."""
        self.mirrors.kept.clear()
        self.plans.kept.clear()
        self.proofs.kept.clear()
        self.runs.kept.clear()
        self.documents.kept.clear()
        self.cursors.clear()
        self.journal.restart(f"m{int(self.journal.epoch[1:]) + 1}")


def _number(event: Event) -> int:
    return event.id.number


def _hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _wanted(event: Event, wanted: EventFilter) -> bool:
    in_time = (wanted.since is None or event.time >= wanted.since) and (
        wanted.until is None or event.time < wanted.until
    )
    return (
        in_time
        and (not wanted.names or event.name in wanted.names)
        and (not wanted.receivers or event.receiver in wanted.receivers)
    )
