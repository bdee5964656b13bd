"""Alarm reporting against stations that misbehave on the loopback (reliability case 22)."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from gateway.clock import SystemClock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import Event, EventDraft, EventId, EventName, Span
from gateway.outlets.alarm.outlet import AlarmOutlet, AlarmPlan
from gateway.outlets.alarm.station import Address
from gateway.outlets.house import OutletHouse
from gateway.outlets.schedules import ALARM
from gateway.ports import Commit, Delivered, Delivery, EventRejected, Parcel, RetryLater
from tests.fakes.alarm_station import Frame, Reply, ack, framed, run_station, silence
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox


class HurriedClock(SystemClock):
    """Twenty times as fast between tries; an answer's time is that of the plan."""

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds / 20)

    def timeout(self, seconds: float | None) -> Any:
        return super().timeout(seconds if seconds is None or seconds < 1 else seconds / 20)


def plan(*ports: int, udp: bool = False, **changes: Any) -> AlarmPlan:
    made = AlarmPlan(
        name="station",
        addresses=tuple(Address("127.0.0.1", port, udp) for port in ports),
        account="1234",
        supervision_s=None,
        answer_s=20.0,
        receivers=("slip-gate",),
        policy=AddressPolicy(allow_loopback=True),
    )
    return replace(made, **changes)


def happened(number: int = 1, kind: str = "left-open", **changes: Any) -> Event:
    made = Event(
        EventId("k3v9", number),
        EventName.CONDITION_RAISED,
        "slip-gate",
        datetime.now(UTC),
        True,
        "boot-1",
        1.0,
        {"kind": kind, "input": 2},
    )
    return replace(made, **changes)


async def report(made: AlarmPlan, event: Event | None = None, ordinal: int = 1) -> Delivery:
    return await AlarmOutlet(made, SystemClock()).deliver((Parcel(event or happened(), ordinal),))


def other_sequence(frame: Frame) -> Sequence[bytes]:
    return [framed(f'"ACK"{int(frame.sequence) + 1:04d}R0L0#{frame.account}[]')]


def late_and_doubled(frame: Frame) -> Sequence[bytes]:
    before = framed(f'"ACK"{int(frame.sequence) - 1:04d}R0L0#{frame.account}[]')
    return [before, before, *ack(frame), *ack(frame)]


def duh(frame: Frame) -> Sequence[bytes]:
    return [framed(f'"DUH"{frame.sequence}R0L0#{frame.account}[]')]


def nak(time: datetime | None = None) -> Reply:
    stamp = time.strftime("_%H:%M:%S,%m-%d-%Y") if time else ""
    return lambda _: [framed(f'"NAK"0000L0R0A0[]{stamp}')]


@pytest.mark.parametrize("udp", [False, True])
@pytest.mark.parametrize(
    ("rule", "kind", "words"),
    [
        (ack, Delivered, "ACK from"),
        (late_and_doubled, Delivered, "ACK from"),
        (silence, RetryLater, "did not acknowledge"),
        (other_sequence, RetryLater, "did not acknowledge"),
        (nak(), RetryLater, "refuses (NAK)"),
        (lambda _: [b'"NAK"'], RetryLater, "refuses (NAK)"),
        (lambda _: [b"\n\r"], RetryLater, "did not acknowledge"),
        (lambda f: [ack(f)[0].replace(b"ACK", b"ACX")], RetryLater, "did not acknowledge"),
        (lambda _: [b"\x00" * 3000, b"\r" * 50], RetryLater, "did not acknowledge"),
        (duh, EventRejected, "DUH"),
    ],
)
async def test_what_each_answer_means(rule: Reply, kind: type[Delivery], words: str, udp: bool) -> None:
    """Only an ACK with this message's own number is one, whatever else comes before or instead."""
    async with run_station(rule, udp=udp) as station:
        silent = words == "did not acknowledge"
        outcome = await report(plan(station.port, udp=udp, answer_s=0.4 if silent else 20.0))
    assert isinstance(outcome, kind)
    assert words in str(outcome)


async def test_nobody_listens_and_the_second_address_does() -> None:
    """The event arrives by the second; for a while that is asked first."""
    async with run_station() as gone:
        closed = gone.port
    async with run_station() as second:
        outlet = AlarmOutlet(plan(closed, second.port), SystemClock())
        for number in (1, 2):
            outcome = await outlet.deliver((Parcel(happened(number), number),))
            assert isinstance(outcome, Delivered)
            assert outcome.answer.endswith(f", account 1234: ACK from tcp://127.0.0.1:{second.port}")
    assert [frame.sequence for frame in second.got] == ["0001", "0002"]


async def test_a_silent_first_address_is_asked_with_the_same_number_as_the_second() -> None:
    """Both get the same message; then the second stays the first choice."""
    async with run_station(silence) as first, run_station() as second:
        outlet = AlarmOutlet(plan(first.port, second.port, answer_s=1.0), SystemClock())
        await outlet.deliver((Parcel(happened(), 7),))
        await outlet.deliver((Parcel(happened(2), 8),))
    assert [frame.sequence for frame in first.got] == ["0007"]
    assert [frame.sequence for frame in second.got] == ["0007", "0008"]


async def test_a_nak_with_a_time_sets_an_offset_for_this_protocol_alone() -> None:
    """Sent again at once with the station's time; the next event has it from the start; our clock stays."""
    ahead = datetime.now(UTC) + timedelta(hours=3)
    async with run_station() as station:
        station.script = [nak(ahead)]
        outlet = AlarmOutlet(plan(station.port), SystemClock())
        assert isinstance(await outlet.deliver((Parcel(happened()),)), Delivered)
        assert isinstance(await outlet.deliver((Parcel(happened(2), 2),)), Delivered)
    stamps = [
        datetime.strptime(found[1].decode(), "%H:%M:%S,%m-%d-%Y").replace(tzinfo=UTC)
        for frame in station.got
        if (found := re.search(rb"_(\S+)\r", frame.raw))
    ]
    assert [frame.sequence for frame in station.got] == ["0001", "0001", "0002"]
    assert abs(stamps[0] - datetime.now(UTC)) < timedelta(seconds=10)
    assert all(abs(stamp - ahead) < timedelta(seconds=10) for stamp in stamps[1:])


async def test_an_acknowledgement_in_clear_of_a_sealed_message_is_none() -> None:
    """Anybody on the way could have sent it (DC-09, 5.5.3: encrypted as *ACK)."""
    async with run_station() as station:
        outcome = await report(plan(station.port, key=b"0123456789ABCDEF", answer_s=0.4))
    assert isinstance(outcome, RetryLater)


async def test_an_event_that_waited_says_when_it_happened() -> None:
    """Extended data H: an operator sees that the gate stood open an hour ago."""
    then = datetime.now(UTC) - timedelta(hours=1)
    async with run_station() as station:
        await report(plan(station.port), happened(time=then))
        await report(plan(station.port), happened())
    assert then.strftime("[H%H:%M:%S,%m-%d-%Y]").encode() in station.got[0].raw
    assert b"[H" not in station.got[1].raw


async def test_what_was_found_late_is_history() -> None:
    """Not reported unless the settings say so, and then with the time at which it can have happened."""
    noon = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    late = happened(late=Span(noon, noon + timedelta(minutes=9)))
    assert not AlarmOutlet(plan(1), SystemClock()).wants(late)
    async with run_station() as station:
        made = plan(station.port, report_late=True)
        assert AlarmOutlet(made, SystemClock()).wants(late)
        await report(made, late)
    assert b"[H12:00:00,03-02-2026]" in station.got[0].raw


async def test_a_gate_has_a_point_of_its_own() -> None:
    """Two gates on one receiver are told apart; an input's own point comes first, the receiver's last."""
    points = {"slip-gate": 10, "slip-gate/2": 11, "gate:slip-gate": 12, "gate:boat-hoist": 13}
    async with run_station() as station:
        made = plan(station.port, points=points)
        for data in ({"gate": "slip-gate"}, {"gate": "boat-hoist"}, {"gate": "slip-gate", "input": 2}, {}):
            await report(made, happened(data={"condition": "left-open", **data}))
    assert [frame.raw.partition(b"]")[0][-3:] for frame in station.got] == [b"012", b"013", b"011", b"010"]


async def test_accounts_and_points_by_receiver_and_input() -> None:
    """The narrowest entry counts."""
    async with run_station() as station:
        made = plan(
            station.port,
            accounts={"slip-gate": "AAA1", "car-park/2": "BBB2"},
            points={"slip-gate": 10, "slip-gate/2": 12},
        )
        await report(made)
        await report(made, happened(data={"kind": "left-open", "input": 1}))
        await report(made, happened(receiver="car-park"))
        await report(made, happened(receiver="workshop"))
    data = [re.search(rb"\[#(\w+)\|([^\]]*)\]", frame.raw) for frame in station.got]
    assert [(found[1], found[2]) for found in data if found] == [
        (b"AAA1", b"1426 01 012"),
        (b"AAA1", b"1426 01 010"),
        (b"BBB2", b"1426 01 000"),
        (b"1234", b"1426 01 000"),
    ]
    assert [frame.account for frame in station.got] == ["AAA1", "AAA1", "BBB2", "1234"]


async def test_lost_acknowledgements_are_retried_with_the_same_number_and_in_order() -> None:
    """Over the whole queue: every event arrives, numbers rise by one, a retry has the first try's number."""
    clock, store = HurriedClock(), MemoryStore(SystemClock())
    async with run_station() as station:
        station.script = [silence, ack, silence, silence, ack, late_and_doubled]
        outlet = AlarmOutlet(plan(station.port, answer_s=0.95), clock)
        house = OutletHouse([outlet], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
        await house.load()
        for _ in range(4):
            draft = EventDraft(EventName.CONDITION_RAISED, "slip-gate", {"kind": "tamper"})
            await store.journal.commit(Commit(events=(draft,)))
        await _drain(house)
    events = [frame.sequence for frame in station.got if b"|1137 " in frame.raw]
    assert events == ["0001", "0001", "0002", "0002", "0002", "0003", "0004"]


async def test_an_event_that_the_station_does_not_know_is_parked_and_others_go_on() -> None:
    """DUH three times: set aside and told, and the next event arrives."""
    clock, store = HurriedClock(), MemoryStore(SystemClock())
    async with run_station(lambda f: duh(f) if b"|1137 " in f.raw else ack(f)) as station:
        outlet = AlarmOutlet(plan(station.port), clock)
        house = OutletHouse([outlet], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
        await house.load()
        for kind in ("tamper", "left-open"):
            draft = EventDraft(EventName.CONDITION_RAISED, "slip-gate", {"kind": kind})
            await store.journal.commit(Commit(events=(draft,)))
        await _drain(house)
        (aside,) = await house.set_asides("station")
    assert aside.number == 1
    assert len(station.got) == 4
    assert b"|1426 " in station.got[-1].raw
    assert len(store.journal.all(EventName.OUTLET_SET_ASIDE)) == 1


async def test_supervision_says_still_here_and_tells_when_nobody_hears_it() -> None:
    """NULL messages while nothing else is said; the outlet fails and recovers without any event."""
    clock, store = HurriedClock(), MemoryStore(SystemClock())
    async with run_station() as station:
        outlet = AlarmOutlet(plan(station.port, supervision_s=0.3, answer_s=0.95), clock)
        house = OutletHouse([outlet], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
        await house.load()
        async with asyncio.TaskGroup() as group:
            task = group.create_task(house.run())
            await _until(lambda: len(station.got) >= 2)
            station.rule = silence
            await _until(lambda: house.state("station").state == "failing")
            station.rule = ack
            await _until(lambda: house.state("station").state == "idle" and house.state("station").lag == 0)
            task.cancel()
    assert {frame.token for frame in station.got} == {"NULL", "ADM-CID"}
    assert b'"NULL"0000R0L0#1234[]_' in station.got[0].raw
    told = [frame.raw for frame in station.got if frame.token == "ADM-CID"]
    assert list(dict.fromkeys(re.findall(rb"\|(\d{4}) ", raw)[0] for raw in told)) == [b"1354", b"3354"]


def test_the_schedule_of_alarm_reporting() -> None:
    """5, 10, 20, then 60 s, with at most a tenth more."""
    for failures, step in ((1, 5), (2, 10), (3, 20), (4, 60), (99, 60)):
        assert step <= ALARM.delay_s(failures) <= step * 1.1


async def _until(true: Any) -> None:
    async with asyncio.timeout(60):
        while not true():
            await asyncio.sleep(0.01)


async def _drain(house: OutletHouse) -> None:
    async with asyncio.TaskGroup() as group:
        task = group.create_task(house.run())
        await _until(lambda: house.state("station").lag == 0)
        task.cancel()
