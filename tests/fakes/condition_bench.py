"""Conditions of a small boatyard on virtual time: a slip gate with every kind of contact, and its journal.

The live state, the revocations, the roster's serials and the line's counts are the test's to set. `restart` builds the
whole anew over the same store, with the clock further on by what the gateway was off.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

from gateway.domain.condition import Condition, ConditionLimits
from gateway.domain.events import Event, EventDraft, EventName, Span
from gateway.domain.gate import Closing, Contact, Gate, InputRole
from gateway.domain.live import LinkState
from gateway.domain.receiver import Status
from gateway.ports import Commit, LineCount
from gateway.watch.conditions import ConditionWatch, Premises
from tests.fakes.clock import FakeClock
from tests.fakes.gates import FakeLineCounts
from tests.fakes.memory_store import MemoryStore
from tests.fakes.use_cases import FakeLive, FakeTrust, online

__all__ = ["CLOSED", "OPENED", "ConditionBench", "draft"]

GATE = "slip-gate"
CLOSED, OPENED, TAMPER, SAFETY, POWER, EXIT = range(1, 7)
_ROLES = {
    CLOSED: InputRole.CLOSED,
    OPENED: InputRole.OPEN,
    TAMPER: InputRole.TAMPER,
    SAFETY: InputRole.SAFETY,
    POWER: InputRole.POWER,
    EXIT: InputRole.EXIT,
}
_TOLD = (EventName.CONDITION_RAISED, EventName.CONDITION_CLEARED)


def draft(name: EventName, late: Span | None = None, **data: Any) -> EventDraft:
    """An event of the slip gate's receiver."""
    return EventDraft(name, GATE, data, late)


class ConditionBench:
    """`watch` is the running one; `run` keeps it running for the time of the body."""

    def __init__(
        self, *, limits: ConditionLimits | None = None, closing: Closing = Closing.BY_COMMAND, contacts: int = 6
    ) -> None:
        self.clock = FakeClock()
        self.store = MemoryStore(self.clock)
        self.trust = FakeTrust()
        self.lines = FakeLineCounts()
        self.revoked: set[int] = set()
        self.known: set[int] = set()
        self.visited: frozenset[str] = frozenset()
        self.levels = [False] * 6
        described = tuple(
            Contact(GATE, number, role, role.value, GATE) for number, role in _ROLES.items() if number <= contacts
        )
        gate = Gate(
            GATE,
            "Slip gate",
            GATE,
            outputs=(1,),
            contacts=described,
            travel_s=20.0,
            stay_open_limit_s=300.0,
            closing=closing,
            service_cycles=3,
        )
        self.premises = Premises((gate,), described, limits or ConditionLimits())
        self.live = FakeLive()
        self.link(LinkState.ONLINE)
        self.boot_id = "boot-1"
        self.watch = self._build()
        self._task: asyncio.Future[None] | None = None

    def _build(self) -> ConditionWatch:
        return ConditionWatch(
            self.premises,
            journal=self.store.journal,
            documents=self.store.documents,
            live=self.live,
            clock=self.clock,
            trust=self.trust,
            boot_id=self.boot_id,
            lines=self.lines,
            revoked=lambda: self.revoked,
            known=lambda: self.known,
            visited=lambda: self.visited,
        )

    # --- the world ---

    def link(self, state: LinkState) -> None:
        """How the receiver is reached from now on."""
        status = Status(tuple(self.levels), (False, False))
        self.live.kept[GATE] = replace(online(GATE, status=status), link=state, since=self.clock.now())

    async def happen(self, *drafts: EventDraft) -> None:
        """These become durable together, and the loop sees them."""
        for each in drafts:
            if each.name is EventName.INPUT_CHANGED:
                self.levels[each.data["input"] - 1] = each.data["violated"]
        if self.live.kept[GATE].link is LinkState.ONLINE:
            self.link(LinkState.ONLINE)
        await self.store.journal.commit(Commit(events=drafts))
        await self.clock.settle()

    async def contact(self, number: int, violated: bool, **more: Any) -> None:
        """A contact changes."""
        await self.happen(draft(EventName.INPUT_CHANGED, input=number, violated=violated, **more))

    async def output(self, closed: bool = True) -> None:
        """The gate's output closes."""
        await self.happen(draft(EventName.OUTPUT_CHANGED, output=1, closed=closed))

    async def press(self, serial: int = 48_231_907, *, known: bool = True, battery: str = "unknown") -> None:
        """A transmitter is heard."""
        outputs = [1] if known else []
        await self.happen(
            draft(
                EventName.TRANSMITTER_HEARD,
                serial=f"{serial:010d}",
                outputs=outputs,
                known=known,
                enrolling=False,
                battery=battery,
            )
        )

    def noise(self, sent: int, spoilt: int) -> None:
        """What the line has counted by now."""
        self.lines.kept["quay"] = LineCount(sent, spoilt)

    # --- running ---

    @contextlib.asynccontextmanager
    async def run(self) -> AsyncIterator[ConditionBench]:
        """The loop runs, and has looked once."""
        await self.start()
        try:
            yield self
        finally:
            await self.stop()

    async def start(self) -> None:
        self.watch = self._build()
        self._task = asyncio.ensure_future(self.watch.run())
        await self.clock.settle()

    async def stop(self) -> None:
        assert self._task is not None
        failed = self._task.done()
        self._task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task
        assert not failed, "the loop ended by itself"

    async def restart(self, off_s: float = 0.0, *, reboot: bool = False) -> None:
        """The gateway was off for a while; with `reboot` so was the machine, whose seconds count anew."""
        await self.stop()
        if reboot:
            self.boot_id = f"{self.boot_id}+"
            self.clock.step_wall(timedelta(seconds=off_s))
        else:
            await self.clock.advance(off_s)
        await self.start()

    # --- what was told ---

    def told(self) -> list[tuple[str, str]]:
        """What was raised and cleared, in order: name of the event, condition."""
        return [(event.name.value, event.data["condition"]) for event in self.events()]

    def events(self) -> Sequence[Event]:
        return self.store.journal.all(*_TOLD)

    def open(self) -> list[str]:
        """The kinds that are open, sorted."""
        return sorted(each.kind.value for each in self.watch.open())

    def only(self) -> Condition:
        """The one that is open."""
        (found,) = self.watch.open()
        return found
