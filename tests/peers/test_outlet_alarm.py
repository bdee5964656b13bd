"""Alarm reporting as an independent DC-09 receiver takes it: pysiaalarm, over TCP and UDP, plain and sealed.

The library reads keys as characters, wants an `L` field, and takes an unknown Contact ID code for "unknown" rather
than refusing it; an unknown SIA code is answered with DUH. It does not check lengths: vectors do.
"""

from __future__ import annotations

import asyncio
import csv
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from pysiaalarm.account import SIAAccount
from pysiaalarm.aio.client import SIAClient
from pysiaalarm.data.sia_codes import SIA_CODES
from pysiaalarm.event import SIAEvent

from gateway.clock import SystemClock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import Event, EventDraft, EventId, EventName
from gateway.outlets.alarm.codes import DEFAULT_CODES, Code
from gateway.outlets.alarm.outlet import AlarmOutlet, AlarmPlan
from gateway.outlets.alarm.station import Address
from gateway.outlets.house import OutletHouse
from gateway.ports import Commit, Delivered, EventRejected, Parcel, RetryLater
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox
from tests.fakes.sia_station import station

KEYS = {0: None, 128: "0123456789ABCDEF", 192: "0123456789ABCDEF01234567", 256: "0123456789ABCDEF0123456789ABCDEF"}


def plan(port: int, **changes: Any) -> AlarmPlan:
    made = AlarmPlan(
        name="station",
        addresses=(Address("127.0.0.1", port),),
        account="1234",
        supervision_s=None,
        answer_s=1.0,
        receivers=("slip-gate",),
        policy=AddressPolicy(allow_loopback=True),
    )
    return replace(made, **changes)


def condition(kind: str, name: EventName = EventName.CONDITION_RAISED) -> Event:
    data = {"condition": kind, "input": 2}
    return Event(EventId("k3v9", 1), name, "slip-gate", datetime.now(UTC), True, "boot-1", 1.0, data)


@pytest.mark.parametrize("udp", [False, True])
@pytest.mark.parametrize("contact_id", [True, False])
@pytest.mark.parametrize("bits", KEYS)
async def test_events_are_acknowledged(bits: int, contact_id: bool, udp: bool) -> None:
    """Raised and cleared, both payloads, in clear and with every length of key."""
    key = KEYS[bits]
    async with station(SIAAccount("1234", key), udp=udp) as found:
        made = plan(
            found.port,
            addresses=(Address("127.0.0.1", found.port, udp),),
            contact_id=contact_id,
            key=key.encode() if key else None,
            points={"slip-gate/2": 42},
        )
        outlet = AlarmOutlet(made, SystemClock())
        for number, name in enumerate((EventName.CONDITION_RAISED, EventName.CONDITION_CLEARED), 1):
            outcome = await outlet.deliver((Parcel(condition("tamper", name), number),))
            assert isinstance(outcome, Delivered), outcome
    raised, cleared = found.events
    assert (raised.code, cleared.code) == ("TA", "TR")
    assert (raised.sequence, cleared.sequence) == ("0001", "0002")
    assert raised.account == "1234"
    if contact_id:
        assert (raised.event_qualifier, raised.event_type, raised.partition, raised.ri) == ("1", "137", "01", "042")
        assert cleared.event_qualifier == "3"
    else:
        assert (raised.ri, raised.message) == ("1", "042")
    assert isinstance(raised.timestamp, datetime)
    assert abs(raised.timestamp - datetime.now(UTC)) < timedelta(seconds=10)


@pytest.mark.parametrize("key", [None, KEYS[128], KEYS[192], KEYS[256]])
async def test_link_tests_are_acknowledged(key: str | None) -> None:
    """NULL messages, which restart the station's supervision."""
    async with station(SIAAccount("1234", key)) as found:
        made = plan(found.port, supervision_s=0.05, key=key.encode() if key else None)
        reports: list[Delivered | RetryLater] = []
        enough = asyncio.Event()

        async def report(outcome: Delivered | RetryLater) -> None:
            reports.append(outcome)
            if len(reports) >= 3:
                enough.set()

        async with asyncio.timeout(10), asyncio.TaskGroup() as group:
            task = group.create_task(AlarmOutlet(made, SystemClock()).run(report))
            await enough.wait()
            task.cancel()
    assert all(isinstance(outcome, Delivered) for outcome in reports)


@pytest.mark.parametrize("contact_id", [True, False])
async def test_every_default_code_is_one_that_the_receiver_takes(contact_id: bool) -> None:
    """Each key of the table, both ends, sent as the commissioning test does."""
    async with station(SIAAccount("1234")) as found:
        outlet = AlarmOutlet(plan(found.port, contact_id=contact_id), SystemClock())
        house = OutletHouse([outlet], journal=MemoryStore().journal, outbox=MemoryOutbox(), clock=SystemClock())
        await house.load()
        outcomes = await house.test("station")
    assert {outcome.outcome for outcome in outcomes} == {"delivered"}
    assert len(outcomes) >= len(DEFAULT_CODES)
    assert len(found.events) == len(outcomes)


async def test_a_wrong_key_is_no_delivery() -> None:
    """The station can't read it; the event stays in the queue."""
    async with station(SIAAccount("1234", KEYS[128])) as found:
        made = plan(found.port, key=b"FEDCBA9876543210")
        outcome = await AlarmOutlet(made, SystemClock()).deliver((Parcel(condition("tamper")),))
    assert isinstance(outcome, RetryLater)
    assert found.events == []


async def test_an_unknown_account_is_no_delivery() -> None:
    """A bare NAK without frame."""
    async with station(SIAAccount("9999")) as found:
        outcome = await AlarmOutlet(plan(found.port), SystemClock()).deliver((Parcel(condition("tamper")),))
    assert isinstance(outcome, RetryLater)
    assert "NAK" in outcome.problem


async def test_an_unknown_code_is_rejected() -> None:
    """DUH: understood and not wanted."""
    async with station(SIAAccount("1234")) as found:
        made = plan(found.port, contact_id=False, codes={"condition:tamper": Code(137, "QX")})
        outcome = await AlarmOutlet(made, SystemClock()).deliver((Parcel(condition("tamper")),))
    assert isinstance(outcome, EventRejected)


async def test_a_wrong_clock_still_reports() -> None:
    """The library refuses a stamp that is off by more than 20 s; its NAK tells the time, and the event arrives."""

    class Slow(SystemClock):
        def now(self) -> datetime:
            return super().now() - timedelta(days=14)

    async with station(SIAAccount("1234")) as found:
        outcome = await AlarmOutlet(plan(found.port), Slow()).deliver((Parcel(condition("tamper")),))
    assert isinstance(outcome, Delivered)
    assert [event.code for event in found.events] == ["TA"]


async def test_a_receiver_that_comes_late_gets_everything_in_order() -> None:
    """Nobody listens at first; then all events arrive, the first of them with the number of its first try."""
    clock, store = _Hurried(), MemoryStore(SystemClock())
    async with station(SIAAccount("1234")) as found:
        port = found.port
    outlet = AlarmOutlet(plan(port), clock)
    house = OutletHouse([outlet], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
    await house.load()
    for kind in ("tamper", "left-open", "power-lost"):
        draft = EventDraft(EventName.CONDITION_RAISED, "slip-gate", {"condition": kind})
        await store.journal.commit(Commit(events=(draft,)))
    async with asyncio.TaskGroup() as group:
        task = group.create_task(house.run())
        await asyncio.sleep(0.2)
        assert house.state("station").row.failures > 0
        taken: list[SIAEvent] = []
        later: Any = SIAClient("127.0.0.1", port, [SIAAccount("1234")], _take(taken))  # type: ignore[abstract]
        await later.async_start()
        async with asyncio.timeout(20):
            while house.state("station").lag:
                await asyncio.sleep(0.01)
        task.cancel()
    await later.async_stop()
    kinds = [event.event_type for event in taken]
    assert kinds[:3] == ["137", "426", "301"]
    assert [event.sequence for event in taken][:3] == ["0001", "0002", "0003"]


class _Hurried(SystemClock):
    """A hundred times as fast between tries."""

    def timeout(self, seconds: float | None) -> Any:
        return super().timeout(seconds if seconds is None or seconds <= 1 else seconds / 100)


def _take(events: list[SIAEvent]) -> Any:
    async def take(event: SIAEvent) -> None:
        events.append(event)

    return take


def test_letters_mean_what_an_independent_table_says() -> None:
    """Each of the default table, and each of the vectors, in pysiaalarm's words."""
    with (Path(__file__).parents[1] / "vectors" / "alarm-codes.csv").open(newline="") as file:
        ours = {row["code"]: row["means"] for row in csv.DictReader(file) if row["code"].isalpha()}
    assert set(ours) == {each for code in DEFAULT_CODES.values() for each in (code.sia, code.sia_restore) if each}
    for letters, means in ours.items():
        assert SIA_CODES[letters].type.casefold().startswith(means.casefold())
