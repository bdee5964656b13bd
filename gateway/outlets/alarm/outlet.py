"""Alarm reporting as an outlet: order, sequence numbers, two addresses, the station's time, supervision.

A retry has the sequence number of its first try (DC-09, 5.5.3): numbers come from how many events were done with
before, which is durable together with the cursor. The second address is asked when the first does not answer, and
stays the first choice for a while. A NAK with a time sets an offset for this protocol alone, never the system's
clock, and the message goes again at once. DUH means "understood and not wanted": the event is set aside.

Something found late is not reported as an alarm by default: an operator would send somebody. A condition that still
holds is raised live anyway.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.condition import ConditionKind
from gateway.domain.events import Event, EventDraft, EventName
from gateway.outlets.alarm.codes import DEFAULT_CODES, VISIT_TEST, Code, code_key, coded
from gateway.outlets.alarm.frames import Answer, Header, PadBytes, build_frame, read_answer
from gateway.outlets.alarm.station import Address, exchange
from gateway.outlets.reach import AddressRefused
from gateway.outlets.samples import samples_for
from gateway.outlets.schedules import ALARM
from gateway.ports import Delivered, Delivery, EventRejected, Outlet, Parcel, Report, RetryLater, Sample

__all__ = ["AlarmOutlet", "AlarmPlan"]

ANSWER_S = 10.0  # our choice; stations answer within a second or two
_STAY_S = 300.0  # our choice: how long the second address stays the first choice after the first did not answer
_OLD_S = 60.0  # an event older than this says when it happened
_LAST_SEQUENCE = 9999
_OF_AN_OUTLET = (EventName.OUTLET_FAILING, EventName.OUTLET_RECOVERED)
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class AlarmPlan:
    """What the settings ask for.

    `accounts` and `points` are by `receiver`, `receiver/input` or `gate:NAME`. `key` has 16, 24 or 32 bytes.
    `supervision_s` None sends no link tests. `report_late` reports also what was found late, with its time.
    """

    name: str
    addresses: tuple[Address, ...]
    account: str
    contact_id: bool = True
    accounts: Mapping[str, str] = field(default_factory=dict)
    points: Mapping[str, int] = field(default_factory=dict)
    group: int = 1
    receiver_number: str = "0"
    prefix: str = "0"
    key: bytes | None = None
    codes: Mapping[str, Code] = field(default_factory=lambda: DEFAULT_CODES)
    supervision_s: float | None = 60.0
    answer_s: float = ANSWER_S
    report_late: bool = False
    receivers: tuple[str, ...] = ()
    only: frozenset[str] = frozenset()
    policy: AddressPolicy = field(default_factory=AddressPolicy)


class AlarmOutlet(Outlet):
    """`ports.Outlet`."""

    kind = "alarm"
    batch = 1

    def __init__(self, plan: AlarmPlan, clock: Clock, pad_bytes: PadBytes = os.urandom) -> None:
        self._plan = plan
        self._clock = clock
        self._pad_bytes = pad_bytes
        self._one_at_a_time = asyncio.Lock()
        self._offsets: dict[Address, timedelta] = {}
        self._first_failed_at: float | None = None
        self._said_last = clock.monotonic()

    @property
    def name(self) -> str:
        return self._plan.name

    @property
    def place(self) -> str:
        return ", ".join(map(str, self._plan.addresses)) + f", account {self._plan.account}"

    def wants(self, event: Event) -> bool:
        plan = self._plan
        if event.late is not None and not plan.report_late:
            return False
        if plan.only and event.receiver and event.receiver not in plan.only:
            return False
        if event.name in _OF_AN_OUTLET and event.data.get("outlet") != self.name:
            return False  # the code speaks of the way to the station, not of other outlets
        return coded(event, plan.codes) is not None

    def delay_s(self, failures: int) -> float:
        return ALARM.delay_s(failures)

    def samples(self) -> tuple[Sample, ...]:
        receiver = self._plan.receivers[0] if self._plan.receivers else ""
        drafts: list[EventDraft] = []
        for key in self._plan.codes:
            name, _, kind = key.partition(":")
            if key == VISIT_TEST:
                data = {"kind": ConditionKind.LEFT_OPEN.value, "visit": True}
                drafts.append(EventDraft(EventName.CONDITION_RAISED, receiver, data))
                continue
            if name == "condition":
                both = (EventName.CONDITION_RAISED, EventName.CONDITION_CLEARED)
                drafts += [EventDraft(each, receiver, {"kind": kind}) for each in both]
            elif kind:
                drafts.append(EventDraft(EventName(name), receiver, {"known": kind == "known"}))
            else:
                drafts.append(EventDraft(EventName(name), receiver, {"outlet": self.name}))
        restored = {
            "link.lost": EventName.LINK_RESTORED,
            "outlet.failing": EventName.OUTLET_RECOVERED,
            "visit.started": EventName.VISIT_ENDED,
        }
        drafts += [
            EventDraft(end, receiver, {"outlet": self.name}) for key, end in restored.items() if key in self._plan.codes
        ]
        return samples_for(drafts, self.wants)

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        """Report one event. Cancellation is safe; the station may then have it."""
        parcel = parcels[0]
        found = coded(parcel.event, self._plan.codes)
        if found is None:
            return EventRejected(f"There is no code for {code_key(parcel.event)[0]}.", "Add one to the codes.")
        point = _of(parcel.event, self._plan.points, 0)
        data = (found.contact_id if self._plan.contact_id else found.sia)(self._plan.group, point)
        header = Header(
            "ADM-CID" if self._plan.contact_id else "SIA-DCS",
            (parcel.ordinal - 1) % _LAST_SEQUENCE + 1,
            _of(parcel.event, self._plan.accounts, self._plan.account),
            self._plan.receiver_number,
            self._plan.prefix,
        )
        return await self._send(header, data, parcel.event)

    async def run(self, report: Report) -> None:
        """Link tests: whenever nothing was said for the supervision's time, a NULL message says "still here"."""
        every = self._plan.supervision_s
        if every is None:
            await asyncio.Event().wait()
            return
        header = Header("NULL", 0, self._plan.account, self._plan.receiver_number, self._plan.prefix)
        while True:
            quiet = self._clock.monotonic() - self._said_last
            if quiet < every:
                await self._clock.sleep(every - quiet)
                continue
            outcome = await self._send(header, "", None)
            self._said_last = self._clock.monotonic()
            if isinstance(outcome, Delivered | RetryLater):
                await report(outcome)

    async def _send(self, header: Header, data: str, event: Event | None) -> Delivery:
        async with self._one_at_a_time:
            trouble = RetryLater("There is no address.", "Write one into the settings.")
            for address in self._in_turn():
                outcome = await self._ask(address, header, data, event)
                if not isinstance(outcome, RetryLater):
                    self._said_last = self._clock.monotonic()
                    return outcome
                trouble = outcome
                if address == self._plan.addresses[0]:
                    self._first_failed_at = self._clock.monotonic()
            return trouble

    def _in_turn(self) -> tuple[Address, ...]:
        failed, addresses = self._first_failed_at, self._plan.addresses
        if failed is not None and self._clock.monotonic() - failed < _STAY_S:
            return (*addresses[1:], addresses[0])
        return addresses

    async def _ask(self, address: Address, header: Header, data: str, event: Event | None) -> Delivery:
        """Twice at most: a NAK that tells the time is worth a second try at once."""
        for again in (False, True):
            asked = self._clock.now()
            try:
                answer = await self._exchange(address, header, data, event)
            except AddressRefused as error:
                return RetryLater(f"The station's address can't be used: {error}.", error.remedy)
            except OSError as error:
                reason = error.strerror or type(error).__name__
                return RetryLater(f"No connection to {address}: {reason}.", "Look at the network and the station.")
            if answer is None:
                words = f"{address} did not acknowledge within {self._plan.answer_s:g} s."
                return RetryLater(words, "Look at the station, the account and the key.")
            if answer.word in ("ACK", "RSP"):
                sent = f"{data}, account {header.account}: " if data else ""
                return Delivered(f"{sent}{answer.word} from {address}")
            if answer.word == "DUH":
                problem = f"{address} can't process this code (DUH)."
                return EventRejected(problem, "Ask the station which code it wants, and write it into codes.")
            if answer.time is None or again:
                break
            self._offsets[address] = answer.time - asked
        return RetryLater(f"{address} refuses (NAK).", "Look at the account and the key at the station.")

    async def _exchange(self, address: Address, header: Header, data: str, event: Event | None) -> Answer | None:
        time = self._clock.now() + self._offsets.get(address, timedelta())
        frame = build_frame(
            header,
            data,
            extended=self._happened(event, time),
            time=time,
            key=self._plan.key,
            pad_bytes=self._pad_bytes,
        )
        return await exchange(
            address,
            frame,
            lambda piece: self._mine(piece, header),
            policy=self._plan.policy,
            clock=self._clock,
            answer_s=self._plan.answer_s,
        )

    def _mine(self, piece: bytes, header: Header) -> Answer | None:
        """The answer to this message: a NAK whatever its number, others with ours and sealed as ours is."""
        answer = read_answer(piece, self._plan.key)
        if answer.word == "NAK":
            return answer
        if not answer.word or answer.sequence != header.sequence:
            return None
        if answer.word in ("ACK", "RSP") and self._plan.key is not None and not answer.sealed:
            return None  # anybody on the way could have said so
        return answer

    def _happened(self, event: Event | None, now: datetime) -> str:
        """Extended data `H`, time of occurrence, for what did not happen just now."""
        if event is None:
            return ""
        when = event.late.earliest if event.late is not None else event.time
        old = event.late is not None or (now - when).total_seconds() > _OLD_S
        return when.astimezone(UTC).strftime("[H%H:%M:%S,%m-%d-%Y]") if old and event.clock_trusted else ""


def _of(event: Event, table: Mapping[str, T], default: T) -> T:
    """What stands for its input, else for its gate, else for its receiver, else the default."""
    places = (f"{event.receiver}/{event.data.get('input')}", f"gate:{event.data.get('gate')}", event.receiver)
    return next((table[place] for place in places if place in table), default)
