"""Reading the event ring: kind 2 is a press, 3 an input; origin 1 is radio (docs/register-map.md)."""

from __future__ import annotations

from gateway.domain.receiver import BoardEvent, Origin, RingPlace, RingRead
from gateway.modbus import ReadInputRegisters, Request
from tests.fakes.register_wire import FakeUnit, FakeWire
from tests.unit.receivers.making import make

BOOT = 7


def unit_with(newest: int, *, oldest: int = 1) -> FakeUnit:
    unit = FakeUnit()
    for number in range(oldest, newest + 1):
        unit.put_event(number, BOOT, 2, 1, serial=number)
    unit.set_long(7, newest)
    unit.set_long(9, oldest)
    return unit


async def read(unit: FakeUnit, after: RingPlace, *, registers: int = 125) -> tuple[RingRead, FakeWire]:
    receiver, wire, _ = make(unit, registers=registers)
    status = await receiver.read_status()
    wire.asked.clear()
    return await receiver.read_ring(after, status), wire


def numbers(found: RingRead) -> list[int]:
    return [entry.place.number for entry in found.entries]


async def test_nothing_new_costs_no_frame() -> None:
    """The status alone tells that there is nothing to read."""
    found, wire = await read(unit_with(5), RingPlace(BOOT, 5))
    assert found == RingRead(())
    assert wire.asked == []


async def test_what_came_since_is_read_in_order() -> None:
    """Every field of an entry comes from its published register."""
    found, wire = await read(unit_with(5), RingPlace(BOOT, 2))
    assert numbers(found) == [3, 4, 5]
    entry = found.entries[0]
    assert (entry.kind, entry.origin, entry.serial, entry.uptime_s) == (BoardEvent.PRESS, Origin.RADIO, 3, 12.5)
    assert wire.asked == [ReadInputRegisters(0x1000 + 2 * 12, 36)]


async def test_the_ring_is_read_across_its_end() -> None:
    """Event 513 lies where event 1 lay; the read is parted there."""
    found, wire = await read(unit_with(515, oldest=4), RingPlace(BOOT, 510))
    assert numbers(found) == [511, 512, 513, 514, 515]
    assert wire.asked == [ReadInputRegisters(0x1000 + 510 * 12, 24), ReadInputRegisters(0x1000, 36)]


async def test_frames_are_as_large_as_the_line_wants() -> None:
    """48 registers are four entries."""
    found, wire = await read(unit_with(9), RingPlace(BOOT, 0), registers=48)
    assert numbers(found) == list(range(1, 10))
    assert [request.count for request in wire.asked if isinstance(request, ReadInputRegisters)] == [48, 48, 12]


async def test_what_the_ring_has_turned_over_is_counted() -> None:
    """Events 3 to 9 were told, 10 is the oldest that is left."""
    found, _ = await read(unit_with(12, oldest=10), RingPlace(BOOT, 2))
    assert numbers(found) == [10, 11, 12]
    assert found.lost == 7


async def test_an_entry_overwritten_while_reading_is_lost_and_said() -> None:
    """A newer number stands in its place."""
    unit = unit_with(4)
    unit.put_event(513, BOOT, 2, 1)
    found, _ = await read(unit, RingPlace(BOOT, 0))
    assert (numbers(found), found.lost) == ([2, 3, 4], 1)


async def test_a_new_start_begins_at_its_first_event() -> None:
    """Another boot count: what the old start had not told is not asked for."""
    found, _ = await read(unit_with(2), RingPlace(BOOT - 1, 40))
    assert (numbers(found), found.restarted, found.lost) == ([1, 2], True, 0)


async def test_an_entry_that_cant_be_explained_is_read_again() -> None:
    """The second reading has it: nothing lost, nothing doubled."""
    unit = unit_with(3)
    unit.put_event(2, BOOT - 3, 2, 1)
    readings: list[Request] = []

    def mend(request: Request) -> None:
        if isinstance(request, ReadInputRegisters) and request.address >= 0x1000:
            readings.append(request)
            if len(readings) == 2:
                unit.put_event(2, BOOT, 2, 1)

    unit.on_read = mend
    found, _ = await read(unit, RingPlace(BOOT, 0))
    assert (numbers(found), found.lost) == ([1, 2, 3], 0)


async def test_an_entry_that_stays_wrong_is_counted_as_lost() -> None:
    """A faulty entry doesn't stop the ones behind it."""
    unit = unit_with(3)
    unit.put_event(2, BOOT - 3, 2, 1)
    found, _ = await read(unit, RingPlace(BOOT, 0))
    assert (numbers(found), found.lost) == ([1, 3], 1)


async def test_a_restart_while_reading_ends_the_reading() -> None:
    """The entries of the new start belong to the next poll, which will tell of it."""
    unit = unit_with(3)

    def restart(request: Request) -> None:
        if isinstance(request, ReadInputRegisters) and request.address == 0x1000 + 12:
            unit.set_long(1, BOOT + 1)
            for number in (1, 2, 3):
                unit.put_event(number, BOOT + 1, 1, 0)

    unit.on_read = restart
    found, _ = await read(unit, RingPlace(BOOT, 0), registers=12)
    assert (numbers(found), found.lost) == ([1], 0)


async def test_kinds_of_a_later_program_are_left_out() -> None:
    """Event code 77 is nothing that we know; its neighbours are told."""
    unit = unit_with(3)
    unit.put_event(2, BOOT, 77, 1)
    found, _ = await read(unit, RingPlace(BOOT, 0))
    assert (numbers(found), found.lost) == ([1, 3], 0)
