"""An outbox in memory, and an outlet that answers as the test says.

`ScriptedOutlet` keeps every parcel in `sent` with the virtual time at which it came. `answers` are used up one by
one, then `always` answers. It knows no protocol.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Collection, Mapping, Sequence

from gateway.clock import Clock
from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.errors import NotFound, Refused, StoreUnavailable
from gateway.outlets.choice import Choice
from gateway.outlets.trial import try_samples
from gateway.ports import (
    Delivered,
    Delivery,
    OutboxRow,
    Outlet,
    OutletDesk,
    OutletState,
    Parcel,
    Report,
    Sample,
    SampleOutcome,
    SetAside,
)

__all__ = ["FakeOutletDesk", "MemoryOutbox", "ScriptedOutlet"]

_ALL = Choice()


class MemoryOutbox:
    """`ports.Outbox`. `durable` is what a restart finds."""

    def __init__(self) -> None:
        self._rows: dict[str, OutboxRow] = {}
        self.durable: dict[str, OutboxRow] = {}
        self.kept: list[SetAside] = []
        self.flushes = 0
        self.full = False

    def rows(self) -> Mapping[str, OutboxRow]:
        return dict(self._rows)

    def mark(self, row: OutboxRow, *, lazy: bool = False) -> None:
        self._rows[row.outlet] = row

    async def flush(self) -> None:
        await self._write()
        self.flushes += 1

    async def save(self, row: OutboxRow, aside: SetAside | None = None) -> None:
        self._rows[row.outlet] = row
        await self._write()
        if aside is not None:
            self.kept.append(aside)

    async def set_asides(self, outlet: str, *, limit: int = 100) -> tuple[SetAside, ...]:
        return tuple(each for each in reversed(self.kept) if each.outlet == outlet)[:limit]

    async def forget_others(self, outlets: Collection[str]) -> None:
        self._rows = {name: row for name, row in self._rows.items() if name in outlets}
        self.kept = [each for each in self.kept if each.outlet in outlets]

    def ride(self) -> None:
        """What was marked becomes durable with a commit of the journal."""
        self.durable = dict(self._rows)

    def lose_marks(self) -> None:
        """What a power cut leaves."""
        self._rows = dict(self.durable)

    async def _write(self) -> None:
        await asyncio.sleep(0)
        if self.full:
            raise StoreUnavailable("The outbox can't be written: the disk is full.", remedy="Free some disk space.")
        self.durable = dict(self._rows)


class ScriptedOutlet(Outlet):
    """`ports.Outlet`."""

    kind = "webhook"
    place = "https://desk.fennel-quay.example/events"
    batch = 1

    def __init__(
        self, clock: Clock, name: str = "harbour-desk", *, choice: Choice = _ALL, takes_s: float = 0.0
    ) -> None:
        self._clock = clock
        self._name = name
        self._choice = choice
        self.takes_s = takes_s
        self.answers: deque[Delivery | BaseException] = deque()
        self.always: Delivery = Delivered()
        self.sent: list[tuple[float, Parcel]] = []
        self.steps: tuple[float, ...] = (5.0, 300.0)
        self.report: Report | None = None

    @property
    def name(self) -> str:
        return self._name

    @property
    def numbers(self) -> list[int]:
        """The numbers of the events as they came, retries too."""
        return [parcel.event.id.number for _, parcel in self.sent]

    @property
    def times(self) -> list[float]:
        """When they came, from the first on."""
        return [round(at - self.sent[0][0], 3) for at, _ in self.sent]

    def wants(self, event: Event) -> bool:
        return self._choice.takes(event, self._name)

    def delay_s(self, failures: int) -> float:
        return self.steps[min(failures, len(self.steps)) - 1]

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        self.sent.extend((self._clock.monotonic(), parcel) for parcel in parcels)
        await self._clock.sleep(self.takes_s)
        answer = self.answers.popleft() if self.answers else self.always
        if isinstance(answer, BaseException):
            raise answer
        return answer

    async def run(self, report: Report) -> None:
        self.report = report
        await asyncio.Event().wait()

    def samples(self) -> tuple[Sample, ...]:
        return (
            Sample("a contact", EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": 1, "violated": True})),
            Sample("the link", EventDraft(EventName.LINK_LOST, "slip-gate", {"problem": "example"})),
        )


class FakeOutletDesk(OutletDesk):
    """`ports.OutletDesk` with one outlet, whose state a test may exchange; `replayed` has what was asked."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        row = OutboxRow("harbour-desk", cursor=0, done=3, set_aside=1)
        self.shown = OutletState("harbour-desk", "webhook", ScriptedOutlet.place, "idle", row, lag=0)
        self.replayed: list[EventId] = []

    def states(self) -> tuple[OutletState, ...]:
        return (self.shown,)

    def state(self, name: str) -> OutletState:
        if name != self.shown.name:
            raise NotFound(f"There is no outlet {name}.", remedy="The settings have: harbour-desk.")
        return self.shown

    async def set_asides(self, name: str) -> tuple[SetAside, ...]:
        now = self._clock.now()
        return (SetAside(self.state(name).name, 7, EventName.INPUT_CHANGED, "slip-gate", "It answers 422.", now),)

    async def test(self, name: str) -> tuple[SampleOutcome, ...]:
        self.state(name)
        return await try_samples(ScriptedOutlet(self._clock), self._clock)

    async def replay(self, name: str, first: EventId) -> OutletState:
        self.state(name)
        if first.epoch != "m1":
            raise Refused("The journal does not hold it.", remedy="Name another.", code="replay-out-of-range")
        self.replayed.append(first)
        return self.shown
