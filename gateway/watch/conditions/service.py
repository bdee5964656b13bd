"""The one loop of conditions: fed by the journal and the clock, it raises and clears (`ports.Conditions`).

What it remembers is one document, kept in the same commit as the events that tell of it; so after a restart nothing
is raised twice or forgotten. Events read then are history (rule 12): they change what is known, and only what still
holds at their end is raised. While the journal can't be written nothing is taken in; it is read again later.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import structlog

from gateway.clock import Clock
from gateway.domain.condition import CONDITIONS, Acknowledgement, Condition
from gateway.domain.events import Event, EventDraft, EventName
from gateway.domain.transmitter import write_serial
from gateway.errors import StoreUnavailable
from gateway.ports import Commit, Documents, EventFilter, Journal, LineCounts, LiveView, Trust
from gateway.watch.conditions.board import GateBoard
from gateway.watch.conditions.engine import acknowledge, settle
from gateway.watch.conditions.observing import Sight, observe
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.rules import Tick
from gateway.watch.conditions.seeing import SEEN, Seen, see
from gateway.watch.conditions.state import Moment, State, rebased

__all__ = ["DOCUMENT", "ConditionWatch", "Kept"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.watch")

DOCUMENT = "conditions"
#: How often the live state is looked at when no event comes and nothing is due; our choice.
LOOK_S = 5.0
#: How long what is remembered may be younger than the document; after a stop the journal is read from there. Our
#: choice: 24 writes of some kilobytes a day.
SAVE_S = 3600.0
_AT_ONCE = 200
_RETRY_S = 2.0
_WANTED = EventFilter(names=SEEN)


@dataclass(frozen=True, slots=True)
class Kept:
    """The document: the state, and the clocks when it was written."""

    state: State
    now: Moment
    boot_id: str


@dataclass(slots=True)
class _Drafts:
    """What one round has to tell."""

    events: list[EventDraft] = field(default_factory=list)

    def add(self, name: EventName, conditions: Collection[Condition]) -> None:
        self.events += [_draft(name, each) for each in conditions]


class ConditionWatch:
    """`ports.Conditions`; `gates` is `ports.Gates`. Both answer from memory, before and during `run`.

    `revoked` are the serials revoked now, `known` those of the roster in force, `visited` the receivers that people
    work at.
    """

    def __init__(
        self,
        premises: Premises,
        *,
        journal: Journal,
        documents: Documents,
        live: LiveView,
        clock: Clock,
        trust: Trust,
        boot_id: str,
        lines: LineCounts,
        revoked: Callable[[], Collection[int]] = frozenset,
        known: Callable[[], Collection[int]] = frozenset,
        visited: Callable[[], frozenset[str]] = frozenset,
    ) -> None:
        self._premises = premises
        self._journal = journal
        self._documents = documents
        self._live = live
        self._clock = clock
        self._trust = trust
        self._boot_id = boot_id
        self._lines = lines
        self._revoked = revoked
        self._known = known
        self._visited = visited
        self._lock = asyncio.Lock()
        self._saved_at = self._due = -math.inf
        self._state = self._recall()
        self._read_to = self._state.after
        self.gates = GateBoard(premises, live=live, clock=clock, state=lambda: self._state)

    # --- ports.Conditions ---

    def open(self) -> tuple[Condition, ...]:
        return tuple(sorted(self._state.open.values(), key=lambda each: each.raised, reverse=True))

    def recent(self) -> tuple[Condition, ...]:
        return self._state.recent

    async def acknowledge(self, condition_id: str, *, name: str, note: str) -> Condition:
        async with self._lock:
            now = self._now()
            state, found = acknowledge(self._state, condition_id, Acknowledgement(name, note, now.time))
            draft = _draft(EventName.CONDITION_ACKNOWLEDGED, found)
            drafts = _Drafts([replace(draft, data={**draft.data, "name": name, "note": note})])
            state, _ = self._settle(state, now, drafts)
            await self._commit(state, drafts, now)
            return next((each for each in state.recent if each.id == found.id), found)

    # --- the loop ---

    async def run(self) -> None:
        """Until cancelled. Nothing that the journal does ends it."""
        upto = self._journal.newest.number
        while self._read_to < upto:
            if not await self._round(history=True):
                await self._clock.sleep(_RETRY_S)
        while True:
            if await self._round():
                await self._wait()
            else:
                await self._clock.sleep(_RETRY_S)

    async def _wait(self) -> None:
        """Until an event comes, something is due, or it is time for a look."""
        pause_s = min(max(self._due - self._clock.monotonic(), 0.0), LOOK_S)
        with contextlib.suppress(TimeoutError):
            async with self._clock.timeout(pause_s):
                await self._journal.wait_newer(self._read_to)

    async def _round(self, *, history: bool = False) -> bool:
        """Take in what is new, and what is due. False when the journal failed; nothing was taken in then."""
        async with self._lock:
            try:
                upto = self._journal.newest.number
                events = await self._journal.read(self._read_to, limit=_AT_ONCE, wanted=_WANTED)
                now, drafts = self._now(), _Drafts()
                state = self._state
                if not history:
                    state = observe(self._premises, state, self._sight(now), besides=_told_of(events))
                for event in events:
                    state = self._take_in(state, event, now, drafts, history=history)
                read_to = events[-1].id.number if len(events) == _AT_ONCE else max(upto, self._read_to)
                state = replace(state, after=max(state.after, read_to))
                if not history or read_to >= upto:
                    state = observe(self._premises, state, self._sight(now))
                    state, self._due = self._settle(state, now, drafts)
                await self._commit(state, drafts, now)
            except StoreUnavailable:
                return False
            self._read_to = read_to
            return True

    def _take_in(self, state: State, event: Event, now: Moment, drafts: _Drafts, *, history: bool) -> State:
        late = history or event.late is not None
        moment = self._moment(event, now)
        state = see(self._premises, state, Seen(event, moment, late, self._revoked()))
        if late:
            return state
        return self._settle(state, moment, drafts)[0]

    def _settle(self, state: State, now: Moment, drafts: _Drafts) -> tuple[State, float]:
        settled = settle(
            self._premises,
            state,
            Tick(now, self._revoked()),
            epoch=self._journal.newest.epoch,
            visited=self._visited(),
        )
        drafts.add(EventName.CONDITION_CLEARED, settled.cleared)
        drafts.add(EventName.CONDITION_RAISED, settled.raised)
        return settled.state, settled.due

    async def _commit(self, state: State, drafts: _Drafts, now: Moment) -> None:
        """Make it durable when there is something to tell, or the document has become old."""
        if drafts.events or now.at - self._saved_at >= SAVE_S:
            kept = Kept(state, now, self._boot_id)
            await self._journal.commit(Commit(events=tuple(drafts.events), documents={DOCUMENT: kept}))
            self._saved_at = now.at
            for draft in drafts.events:
                log.info(draft.name.value, condition=draft.data["condition"], receiver=draft.receiver)
        self._state = state

    # --- times ---

    def _now(self) -> Moment:
        return Moment(self._clock.monotonic(), self._clock.now())

    def _moment(self, event: Event, now: Moment) -> Moment:
        """When an event was; for a late one the latest time at which it can have been."""
        if event.boot_id == self._boot_id:
            at = event.monotonic_s
        else:
            at = now.at - max(0.0, (now.time - event.time).total_seconds())
        if event.late is None:
            return Moment(at, event.time)
        return Moment(at - max(0.0, (event.time - event.late.latest).total_seconds()), event.late.latest)

    def _recall(self) -> State:
        """What was remembered, its moments counted as this run of the machine counts."""
        kept = self._documents.load(DOCUMENT, Kept)
        if kept is None:
            return State()
        state = kept.state
        if kept.boot_id != self._boot_id:
            gap_s = max(0.0, (self._clock.now() - kept.now.time).total_seconds()) if self._trust.trusted else 0.0
            state = rebased(state, self._clock.monotonic() - gap_s - kept.now.at)
        return state

    def _sight(self, now: Moment) -> Sight:
        known = self._known() if self._premises.limits.unused_days is not None else ()
        return Sight(now, self._live.receivers(), self._trust.trusted, self._lines.counts(), known)


def _told_of(events: Collection[Event]) -> frozenset[str]:
    """The contacts that these events tell of."""
    return frozenset(
        f"{event.receiver}/{event.data['input']}" for event in events if event.name is EventName.INPUT_CHANGED
    )


def _draft(name: EventName, condition: Condition) -> EventDraft:
    described = CONDITIONS[condition.kind]
    data: dict[str, Any] = {
        "condition": condition.kind.value,
        "id": condition.id,
        "sentence": condition.sentence,
        "weight": described.weight.value,
        "since": _iso(condition.since),
    }
    for key, value in (("gate", condition.gate), ("line", condition.line)):
        if value:
            data[key] = value
    for key, number in (("input", condition.input), ("output", condition.output), ("count", condition.count)):
        if number is not None:
            data[key] = number
    if condition.serial is not None:
        data["serial"] = write_serial(condition.serial)
    if condition.visit:
        data["visit"] = True
    if name is EventName.CONDITION_CLEARED and condition.cleared is not None:
        data["lasted_s"] = round((condition.cleared - condition.since).total_seconds(), 1)
    return EventDraft(name, condition.receiver, data)


def _iso(time: datetime) -> str:
    return time.isoformat(timespec="milliseconds").replace("+00:00", "Z")
