"""Pacing, faults and several addresses on one line, in virtual time.

Times: 8N1 takes 10 bits a character; t3.5 from Modbus over Serial Line V1.02, section 2.5.1.1.
"""

from __future__ import annotations

import struct
from collections.abc import AsyncIterator

import pytest

from gateway.modbus import crc16, frame
from gateway.virtual.faults import WireFaults
from gateway.virtual.requests import ReceiverUnit
from gateway.virtual.station import Pace, Station
from tests.fakes.clock import FakeClock
from tests.fakes.virtual_wire import some_unit
from tests.unit.virtual.asking import record, window

READ_125 = frame(1, struct.pack(">BHH", 4, 0x4000, 125))
READ_STATUS = frame(1, struct.pack(">BHH", 4, 0, 20))
CHARACTER = 10 / 19200


class Line:
    """A station at 19200 Bd, with what left it and when."""

    def __init__(self, *, paced: bool, units: int = 1) -> None:
        self.clock = FakeClock()
        self.units: dict[int, ReceiverUnit] = {n: some_unit(self.clock, serial=f"FQ-{n}") for n in range(1, units + 1)}
        self.sent: list[tuple[float, bytes]] = []
        pace = Pace.of(19200, 0.001) if paced else None
        self.station = Station(self.clock, self.units, self._out, pace=pace, faults=WireFaults(seed=7))
        self.began = self.clock.monotonic()

    def _out(self, data: bytes) -> None:
        self.sent.append((self.clock.monotonic() - self.began, data))

    @property
    def heard(self) -> bytes:
        return b"".join(data for _, data in self.sent)

    async def ask(self, data: bytes, wait_s: float = 0.5) -> bytes:
        """Send, wait, and take what came."""
        self.sent.clear()
        self.began = self.clock.monotonic()
        self.station.received(data)
        await self.clock.advance(wait_s)
        return self.heard


@pytest.fixture
async def paced() -> AsyncIterator[Line]:
    line = Line(paced=True, units=2)
    yield line
    line.station.close()


@pytest.fixture
async def quick() -> AsyncIterator[Line]:
    line = Line(paced=False, units=2)
    yield line
    line.station.close()


async def test_an_answer_takes_its_wire_time(paced: Line) -> None:
    """Request, t3.5, turnaround, then 255 bytes in chunks of 8, each at the time its last byte has left."""
    answer = await paced.ask(READ_125)
    assert len(answer) == 255
    start = 8 * CHARACTER + 3.5 * CHARACTER + 0.001
    assert [len(data) for _, data in paced.sent] == [8] * 31 + [7]
    for number, (at, _) in enumerate(paced.sent[:-1], 1):
        assert at == pytest.approx(start + 8 * number * CHARACTER)
    assert paced.sent[-1][0] == pytest.approx(start + 255 * CHARACTER)


async def test_above_19200_the_silence_is_fixed() -> None:
    """1.75 ms, not 3.5 characters."""
    assert Pace.of(115200, 0.001).silence_s == 0.00175
    assert Pace.of(9600, 0.001).silence_s == pytest.approx(3.5 * 10 / 9600)


async def test_a_request_in_pieces_arrives_when_its_last_byte_can_have(paced: Line) -> None:
    """What is handed over too early still takes its time on the wire."""
    paced.station.received(READ_STATUS[:5])
    paced.station.received(READ_STATUS[5:])
    await paced.clock.advance(0.5)
    assert paced.sent[0][0] == pytest.approx(8 * CHARACTER + 3.5 * CHARACTER + 0.001 + 8 * CHARACTER)


async def test_gaps_shorter_than_the_standards_are_counted(paced: Line) -> None:
    """t3.5 after an answer's end is right, 50 microseconds less is not; sending into an answer is an overlap."""
    await paced.ask(READ_STATUS, 0.0)
    end = 8 * CHARACTER + 3.5 * CHARACTER + 0.001 + 45 * CHARACTER
    await paced.clock.advance(end + 3.5 * CHARACTER)
    await paced.ask(READ_STATUS, end + 3.5 * CHARACTER - 50e-6)
    assert paced.station.counters.short_gaps == 0
    await paced.ask(READ_STATUS, end - 0.002)
    assert paced.station.counters.short_gaps == 1
    assert paced.station.counters.shortest_gap_us == pytest.approx(3.5 * CHARACTER * 1e6 - 50, abs=1)
    await paced.ask(READ_STATUS)
    assert paced.station.counters.overlaps == 1


async def test_two_addresses_share_a_line_and_broadcasts_are_done_by_both(quick: Line) -> None:
    """Each answers to its own address, nobody to a strange one, nobody to a broadcast."""
    for address in (1, 2):
        answer = await quick.ask(frame(address, struct.pack(">BHH", 4, 0x40, 8)))
        assert answer[:3] == bytes((address, 4, 16))
        assert answer[3:7] == f"FQ-{address}".encode()
    assert await quick.ask(frame(3, struct.pack(">BHH", 4, 0, 1))) == b""
    assert await quick.ask(frame(0, struct.pack(">BHH", 6, 0, 33))) == b""
    assert [unit.receiver.memory.on_times_s[0] for unit in quick.units.values()] == [33, 33]


async def test_a_broken_request_is_forgotten_and_the_next_is_served(quick: Line) -> None:
    """No answer to a wrong CRC (V1.02, section 2.4.1) or a cut request; an unknown function with a good CRC gets 01."""
    assert await quick.ask(READ_STATUS[:-1] + b"\0") == b""
    assert await quick.ask(READ_STATUS[:5]) == b""
    assert quick.station.counters.broken_requests == 2
    assert await quick.ask(READ_STATUS)
    assert await quick.ask(frame(1, b"\x41\0\0\0\0")) == frame(1, b"\xc1\1")


async def test_answer_faults(quick: Line) -> None:
    """Dropped, every third dropped, cut, silent: and right again when they are over."""
    faults = quick.units[1].faults
    good = await quick.ask(READ_STATUS)
    faults.drop_next = 1
    assert await quick.ask(READ_STATUS) == b""
    faults.cut_at, faults.cut_next = 7, 1
    assert await quick.ask(READ_STATUS) == good[:3] + b"\0\1\0\0"
    faults.silent = True
    assert await quick.ask(READ_STATUS) == b""
    faults.silent = False
    faults.drop_every = 3
    lengths = [len(await quick.ask(READ_STATUS)) for _ in range(6)]
    assert sorted(lengths) == [0, 0, 45, 45, 45, 45]
    assert lengths[0:3] == lengths[3:6]


async def test_a_late_answer_comes_late_whatever_was_asked_meanwhile(quick: Line) -> None:
    """That is how an old answer can pass for a new one's: RTU carries no transaction number."""
    faults = quick.units[1].faults
    faults.late_s, faults.late_next = 1.5, 1
    assert await quick.ask(READ_STATUS, 1.0) == b""
    now = await quick.ask(frame(1, struct.pack(">BHH", 4, 5, 2)), 1.0)
    assert len(now) == 9 + 45


async def test_a_delayed_answer_dies_with_the_power(quick: Line) -> None:
    """A receiver that was off meanwhile does not know what it was asked."""
    unit = quick.units[1]
    unit.faults.late_s, unit.faults.late_next = 1.5, 1
    await quick.ask(READ_STATUS, 1.0)
    unit.receiver.power_off(quick.clock.monotonic(), quick.clock.monotonic() + 0.1)
    unit.receiver.elapse(quick.clock.monotonic() + 0.2)
    await quick.clock.advance(5)
    assert quick.heard == b""


async def test_a_slow_write_is_answered_when_done_unless_something_is_asked_meanwhile(quick: Line) -> None:
    """Busy meanwhile (06); with a question in between the write itself is never answered."""
    faults = quick.units[1].faults
    faults.slow_write_s, faults.slow_write_next = 2.0, 2
    data = window(1, record(1, 5))
    write = frame(1, struct.pack(">BHHB", 16, 0x100, 22, len(data)) + data)
    assert await quick.ask(write, 1.9) == b""
    await quick.clock.advance(0.2)
    assert quick.heard == frame(1, struct.pack(">BHH", 16, 0x100, 22))
    assert await quick.ask(frame(1, struct.pack(">BHH", 6, 0, 9)), 0.5) == b""
    assert await quick.ask(frame(1, struct.pack(">BHH", 4, 0x4000, 1)), 5.0) == frame(1, b"\x84\6")


async def test_noise_damages_and_is_repeatable() -> None:
    """With a rate of 1 every byte has one wrong bit; the same seed gives the same noise."""
    one, other = WireFaults(seed=3, noise=1.0), WireFaults(seed=3, noise=1.0)
    data = bytes(64)
    damaged = one.damage(data)
    assert all(byte.bit_count() == 1 for byte in damaged)
    assert damaged == other.damage(data)
    assert one.damaged_bytes == 64
    assert WireFaults(seed=3).damage(data) == data


async def test_echo_comes_first_and_takes_its_time(paced: Line) -> None:
    """As on a two-wire adapter (common practice, no source)."""
    paced.station.faults.echo = True
    heard = await paced.ask(READ_STATUS)
    assert heard[:8] == READ_STATUS
    assert crc16(heard[8:]) == 0
    assert paced.sent[0][0] == pytest.approx(8 * CHARACTER)


async def test_a_cut_line_forgets_what_was_under_way(paced: Line) -> None:
    """Nothing of an answer comes after the adapter was pulled."""
    await paced.ask(READ_125, 0.02)
    paced.station.reset()
    before = paced.heard
    await paced.clock.advance(1.0)
    assert paced.heard == before
    assert len(before) < 255
    assert paced.clock.next_due is None


async def test_an_idle_station_waits_for_no_time(paced: Line) -> None:
    """No timer is set while nothing is under way, so idle costs nothing."""
    assert paced.clock.next_due is None
    await paced.ask(READ_STATUS)
    assert paced.clock.next_due is None
