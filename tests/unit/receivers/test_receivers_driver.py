"""Settings, refusals, listening, reset and the small helpers of the register-map driver."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace

import pytest

from gateway.domain.receiver import Identity, Status
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.errors import NoAnswer, NotProven, ReceiverException, ReceiverRefused, Refused
from gateway.maps import Role
from gateway.modbus import Answer, ReadHoldingRegisters, ReadInputRegisters, Request, WriteRegister, WriteRegisters
from tests.fakes.register_wire import FakeUnit, RefusedRequest, record
from tests.unit.receivers.making import REFERENCE, make


async def test_settings_have_one_on_time_per_output() -> None:
    """Four outputs, factory on-times of 5 s, local programming from bit 0 of register 8."""
    unit = FakeUnit()
    unit.holding[16:18] = b"\0\1"
    receiver, _, _ = make(unit)
    settings = await receiver.read_settings()
    assert (settings.on_times_s, settings.local_programming, settings.password_set) == ((5, 5, 5, 5), True, False)


async def test_an_on_time_is_one_register_written_and_read_back() -> None:
    """Function 6 to the output's own register; the neighbours stay."""
    unit = FakeUnit()
    receiver, wire, _ = make(unit)
    await receiver.write_on_time(3, 3600)
    assert [request for request in wire.asked if isinstance(request, WriteRegister)] == [WriteRegister(2, 3600)]
    assert wire.asked[-1] == ReadHoldingRegisters(0, 9)
    assert struct.unpack(">4H", unit.holding[:8]) == (5, 5, 3600, 5)


async def test_an_on_time_that_the_memory_does_not_hold_is_not_proven() -> None:
    """Acknowledged and not kept."""
    receiver, wire, _ = make()
    await receiver.identify()

    def forget(_: Request) -> None:
        wire.unit.holding[4:6] = b"\0\5"

    wire.unit.on_read = forget
    with pytest.raises(NotProven, match="the on-time of output 3"):
        await receiver.write_on_time(3, 60)


@pytest.mark.parametrize(
    ("output", "seconds", "code"),
    [
        (0, 5, "output-out-of-range"),
        (5, 5, "output-out-of-range"),
        (1, 0, "on-time-out-of-range"),
        (1, 3601, "on-time-out-of-range"),
    ],
)
async def test_on_times_outside_the_receivers_limits_are_never_sent(output: int, seconds: int, code: str) -> None:
    """Four outputs, 1 to 3600 s, as the receiver states them."""
    receiver, wire, _ = make()
    with pytest.raises(Refused) as caught:
        await receiver.write_on_time(output, seconds)
    assert caught.value.code == code
    assert wire.count(WriteRegister) == 0


async def test_local_programming_is_one_register_written_and_read_back() -> None:
    """On and off."""
    unit = FakeUnit()
    receiver, wire, _ = make(unit)
    await receiver.write_local_programming(True)
    assert unit.holding[17] == 1
    await receiver.write_local_programming(False)
    assert unit.holding[17] == 0
    assert wire.count(WriteRegister, 8) == 2


async def test_flags_that_share_a_register_keep_each_other() -> None:
    """A map with another flag beside the lock: it is read first and written as it stood."""
    settings = REFERENCE.block(Role.SETTINGS)
    lock = settings.fields["local_programming"]
    fields = {**settings.fields, "buzzer": replace(lock, name="buzzer", bit=4, start_bit=lock.start_bit - 4)}
    blocks = tuple(replace(b, fields=fields) if b is settings else b for b in REFERENCE.blocks)
    unit = FakeUnit()
    unit.holding[16:18] = b"\0\x10"
    receiver, _, _ = make(unit, receiver_map=replace(REFERENCE, blocks=blocks))
    await receiver.write_local_programming(True)
    assert unit.holding[16:18] == b"\0\x11"


async def test_listening_is_one_register() -> None:
    """Seconds to listen; 0 ends it."""
    receiver, wire, _ = make()
    await receiver.listen(45)
    await receiver.listen(0)
    assert wire.asked == [WriteRegister(0x31, 45), WriteRegister(0x31, 0)]
    with pytest.raises(Refused):
        await receiver.listen(-1)


async def test_a_factory_reset_is_sent_once_and_proven_by_an_empty_memory() -> None:
    """The key of the map; afterwards every sum is that of an empty block."""
    receiver, wire, _ = make()
    await receiver.factory_reset()
    assert wire.once_only == [WriteRegisters(0x40, b"CLEA")]


async def test_a_reset_that_leaves_slots_behind_is_not_proven() -> None:
    """One sum is not that of an empty block."""
    unit = FakeUnit()
    unit.put_slot(record(3, 48_231_907))
    receiver, _, _ = make(unit)
    with pytest.raises(NotProven, match="something of its memory is still there"):
        await receiver.factory_reset()


async def test_a_busy_receiver_is_asked_again_after_small_waits() -> None:
    """Refused as busy three times, then done."""
    unit = FakeUnit()
    plain_answer, refusals = unit.answer, iter(range(3))

    def answer(request: Request) -> Answer:
        if isinstance(request, WriteRegister) and next(refusals, None) is not None:
            raise RefusedRequest(6, "memory-busy")
        return plain_answer(request)

    unit.answer = answer  # type: ignore[method-assign]
    receiver, wire, clock = make(unit)
    await clock.run(receiver.listen(10))
    assert wire.count(WriteRegister) == 4


async def test_a_receiver_that_stays_busy_is_called_busy() -> None:
    """With words and a stable code."""
    unit = FakeUnit()
    plain_answer = unit.answer

    def answer(request: Request) -> Answer:
        if isinstance(request, WriteRegister):
            raise RefusedRequest(6, "memory-busy")
        return plain_answer(request)

    unit.answer = answer  # type: ignore[method-assign]
    receiver, _, clock = make(unit)
    with pytest.raises(ReceiverRefused, match="is busy with its memory") as caught:
        await clock.run(receiver.listen(10))
    assert caught.value.code == "busy"


async def test_an_unknown_address_needs_no_reason() -> None:
    """Exception 02 is passed on as it is, without another frame."""
    receiver, wire, _ = make()
    wire.fail(ReceiverException("No such address.", function=6, exception=2))
    with pytest.raises(ReceiverException):
        await receiver.listen(10)
    assert len(wire.asked) == 1


async def test_a_refusal_without_a_reason_stays_the_exception() -> None:
    """The status says "none": nothing is made up."""
    receiver, wire, _ = make()
    wire.fail(ReceiverException("A fault.", function=6, exception=4))
    with pytest.raises(ReceiverException):
        await receiver.listen(10)


def test_kinds_are_told_by_their_positions() -> None:
    """The map's code for the same positions; 0 for any, and for one that the map doesn't know."""
    receiver, _, _ = make()
    assert receiver.kind_code(BUILT_IN_KINDS["four-button"]) == 5
    assert receiver.kind_code(Kind("quay fob", ("1", "2", "1+2"))) == 3
    assert receiver.kind_code(BUILT_IN_KINDS["any"]) == 0
    assert receiver.kind_code(Kind("odd", ("2", "1"))) == 0


async def test_names_fit_the_room_that_the_receiver_states() -> None:
    """16 bytes in the map; this one keeps fewer."""
    receiver, _, _ = make()
    _, limits = await receiver.identify()
    assert receiver.fit_name(limits, "Harbour office, spare") == "Harbour office,"
    assert receiver.fit_name(replace(limits, name_bytes=7), "Harbour office") == "Harbour"


def test_the_estimate_follows_frame_sizes() -> None:
    """19200 Bd, 10 bits: 6 slots are a write of 253 + 8 and a read of 8 + 245 bytes, silences and answer times."""
    receiver, _, _ = make()
    silence_s, character_s = 35 / 19_200, 10 / 19_200
    write_s = (9 + 244 + 8) * character_s + 2 * silence_s + 0.100
    read_s = (13 + 240) * character_s + 2 * silence_s + 0.001
    crc_s = (13 + 136) * character_s + 2 * silence_s + 0.001
    assert receiver.wire_seconds(slots_written=6, blocks_checked=0) == pytest.approx(write_s + read_s)
    assert receiver.wire_seconds(slots_written=6, blocks_checked=1) == pytest.approx(write_s + read_s + crc_s)


async def test_the_estimate_learns_what_a_write_really_takes() -> None:
    """The fake answers in no time: half of the largest answer time is replaced by what was measured."""
    receiver, _, _ = make()
    before = receiver.wire_seconds(slots_written=6, blocks_checked=0)
    await receiver.write_slots([], [1], 100)
    assert before - receiver.wire_seconds(slots_written=6, blocks_checked=0) == pytest.approx(0.100)


async def test_operating_reads_checks_and_sends_once_in_one_hold() -> None:
    """Output 2 for 1.5 s: status and identity right before, then the request, with nothing between."""
    receiver, wire, _ = make()
    await receiver.identify()
    wire.asked.clear()
    seen: list[tuple[Status, Identity | None]] = []
    await receiver.operate(2, 15, 0xDEAD_BEEF, lambda *both: seen.append(both))
    request = WriteRegisters(0x38, b"\0\2\0\x0f\xde\xad\xbe\xef")
    assert wire.asked == [ReadInputRegisters(0, 20), ReadInputRegisters(0x40, 44), request]
    assert wire.once_only == [request]
    [(status, identity)] = seen
    assert status.boot_count == 7
    assert identity == (await receiver.identify())[0]


async def test_operating_sends_nothing_when_the_check_refuses() -> None:
    """A violated safety contact, for example."""
    receiver, wire, _ = make()

    def refuse(*_: object) -> None:
        raise Refused("The safety contact is violated.", code="safety")

    with pytest.raises(Refused):
        await receiver.operate(2, 0, 1, refuse)
    assert wire.count(WriteRegisters) == 0


async def test_a_locked_receiver_is_unlocked_before_anything_is_sent() -> None:
    """What was read while it was locked is too old by then and is read again; the request itself goes out once."""
    unit = FakeUnit()
    unit.lock_with(b"quay-7")
    receiver, wire, _ = make(unit, password=lambda: "quay-7")
    await receiver.identify()
    checks: list[object] = []
    await receiver.operate(2, 0, 1, lambda *both: checks.append(both))
    assert len(checks) == 1
    assert wire.count(WriteRegisters, 0x38) == 1


async def test_an_operation_whose_answer_is_lost_is_not_repeated() -> None:
    """Whether it moved is not known; nobody presses twice for that."""
    receiver, wire, _ = make()
    await receiver.identify()
    wire.fail(skip=2, after=True)
    with pytest.raises(NoAnswer):
        await receiver.operate(2, 0, 1, lambda *_: None)
    assert wire.count(WriteRegisters) == 1


async def test_an_operation_that_is_refused_is_not_sent_again() -> None:
    """Not even when the receiver says that it is busy, or locked after all: whoever asked hears it."""
    for reason, code in (("memory-busy", "busy"), ("locked", "locked")):
        unit = FakeUnit()
        receiver, wire, _ = make(unit)
        await receiver.identify()
        answer = unit.answer

        def refuse(request: Request, reason: str = reason, answer: Callable[[Request], Answer] = answer) -> Answer:
            if isinstance(request, WriteRegisters):
                raise RefusedRequest(4, reason)
            return answer(request)

        unit.answer = refuse  # type: ignore[method-assign]
        with pytest.raises(ReceiverRefused) as caught:
            await receiver.operate(2, 0, 1, lambda *_: None)
        assert caught.value.code == code
        assert wire.count(WriteRegisters, 0x38) == 1
