"""Where events go: one delivery, the outbox, the desk; implemented by `outlets` and `store`."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from gateway.domain.events import Event, EventDraft, EventId, EventName

__all__ = [
    "Delivered",
    "Delivery",
    "EventRejected",
    "Held",
    "Outbox",
    "OutboxRow",
    "Outlet",
    "OutletDesk",
    "OutletDisabled",
    "OutletState",
    "Parcel",
    "Report",
    "RetryLater",
    "Sample",
    "SampleOutcome",
    "SetAside",
]


@dataclass(frozen=True, slots=True)
class Parcel:
    """One event on its way out.

    `ordinal` rises by one with each event that an outlet is done with, over restarts too, so that a protocol which
    numbers its messages gives a retry the number of the first try. `attempt` counts tries from 1. A `test` is sent
    because somebody wants to see it arrive, and is marked so wherever the protocol can say it.
    """

    event: Event
    ordinal: int = 1
    attempt: int = 1
    test: bool = False


@dataclass(frozen=True, slots=True)
class Delivered:
    """The other side has it. `answer` is what it said, in few words."""

    answer: str = ""


@dataclass(frozen=True, slots=True)
class RetryLater:
    """The endpoint fails; the queue waits. `after_s` is the least wait that the other side asked for."""

    problem: str
    remedy: str = ""
    after_s: float | None = None


@dataclass(frozen=True, slots=True)
class EventRejected:
    """The endpoint works and does not want this event; after three tries it is set aside and order goes on."""

    problem: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class OutletDisabled:
    """The other side wants nothing any more; nothing is sent until a person replays or the settings change."""

    problem: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """Nothing is wrong and it is not the time (quiet hours, too many already). Asked again after `seconds`."""

    reason: str
    seconds: float


Report = Callable[[Delivered | RetryLater], Awaitable[None]]
Delivery = Delivered | RetryLater | EventRejected | OutletDisabled | Held


@dataclass(frozen=True, slots=True)
class Sample:
    """An event that an outlet would send, made up for a test; `words` say what it stands for."""

    words: str
    draft: EventDraft


class Outlet(Protocol):
    """One place where events go. Never raises for what the other side does: that is an outcome."""

    @property
    def name(self) -> str:
        """The settings' name of this outlet."""
        ...

    @property
    def kind(self) -> str:
        """`webhook`, `mqtt`, `alarm` or `mail`."""
        ...

    @property
    def place(self) -> str:
        """Where it goes, for people; without secrets."""
        ...

    @property
    def batch(self) -> int:
        """The most events that one `deliver` takes."""
        ...

    def wants(self, event: Event) -> bool:
        """Whether this event goes there at all."""
        ...

    def delay_s(self, failures: int) -> float:
        """How long to wait after this many failures in a row (1 and up), jitter included."""
        ...

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        """Send, and return when the other side has answered or its time is up. All parcels share the outcome."""
        ...

    async def run(self, report: Report) -> None:
        """What lives beside deliveries (a connection, supervision, a digest). Never returns."""
        ...

    def samples(self) -> tuple[Sample, ...]:
        """One made-up event for each that this outlet would send."""
        ...


@dataclass(frozen=True, slots=True)
class OutboxRow:
    """How far one outlet has come.

    `cursor` is the number of the last event it is done with, `done` counts them. `failures` and `rejections` are
    those of the event behind the cursor, `next_try` when it is tried again. `failing_since` is set while
    `outlet.failing` stands. `disabled` says why nothing is sent, empty while something is. `lost` counts events that
    the journal forgot before they were sent. `endpoint` is a digest of where it went: another one starts clean.
    """

    outlet: str
    cursor: int
    done: int = 0
    failures: int = 0
    rejections: int = 0
    next_try: datetime | None = None
    failing_since: datetime | None = None
    disabled: str = ""
    set_aside: int = 0
    lost: int = 0
    endpoint: str = ""


@dataclass(frozen=True, slots=True)
class SetAside:
    """An event that an outlet refused three times: its number in the journal, and what was said."""

    outlet: str
    number: int
    name: EventName
    receiver: str
    problem: str
    time: datetime


class Outbox(Protocol):
    """Delivery state of every outlet. The events themselves stay in the journal."""

    def rows(self) -> Mapping[str, OutboxRow]:
        """By outlet, as last marked or saved."""
        ...

    def mark(self, row: OutboxRow, *, lazy: bool = False) -> None:
        """Known at once, durable with the journal's next commit or the next `flush` (lazy: not with a flush)."""
        ...

    async def flush(self) -> None:
        """Make what was marked durable, if any of it was not lazy. Raises StoreUnavailable."""
        ...

    async def save(self, row: OutboxRow, aside: SetAside | None = None) -> None:
        """Durable when it returns, together with an event set aside. Raises StoreUnavailable."""
        ...

    async def set_asides(self, outlet: str, *, limit: int = 100) -> tuple[SetAside, ...]:
        """Newest first. The newest 1000 of an outlet are kept."""
        ...

    async def forget_others(self, outlets: Collection[str]) -> None:
        """Forget all outlets but these."""
        ...


@dataclass(frozen=True, slots=True)
class OutletState:
    """An outlet at this moment. `state` is `idle`, `sending`, `held`, `retrying`, `failing` or `disabled`.

    `lag` is how many events of the journal are still before it. `problem` and `remedy` are sentences for people.
    """

    name: str
    kind: str
    place: str
    state: str
    row: OutboxRow
    lag: int
    waiting_since: datetime | None = None
    problem: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class SampleOutcome:
    """What became of one test event: `outcome` is `delivered`, `failed`, `rejected` or `not-tried`."""

    sample: Sample
    event: Event
    outcome: str
    answer: str
    took_s: float


class OutletDesk(Protocol):
    """Outlets as people see them (implemented by outlets/)."""

    def states(self) -> tuple[OutletState, ...]: ...

    def state(self, name: str) -> OutletState:
        """Raises NotFound."""
        ...

    async def set_asides(self, name: str) -> tuple[SetAside, ...]:
        """Newest first, at most 100. Raises NotFound."""
        ...

    async def test(self, name: str) -> tuple[SampleOutcome, ...]:
        """Send each kind of event once as a test, at once, beside the queue. Raises NotFound."""
        ...

    async def replay(self, name: str, first: EventId) -> OutletState:
        """Send again from this event on, or go on there; also lets a disabled outlet send again.

        Raises NotFound, and Refused with `replay-out-of-range` when the journal does not hold that event.
        """
        ...
