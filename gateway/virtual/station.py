"""Receivers on one line: bytes in, answers out, each at the time at which a real wire would carry it.

Paced, a byte takes 10 bits (8N1) each way. What the master hands over at once arrives byte after byte; the
answer begins t3.5 and the turnaround after the request's last byte and is released in chunks of 8 bytes, as a
transmitter's FIFO does, each when its last byte has left. All times are absolute, so no error adds up.
Unpaced, an answer leaves at once. Source of t3.5: Modbus over Serial Line V1.02, section 2.5.1.1.
It knows nothing of terminals: `emit` takes the bytes that leave.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.modbus import RequestFramer, frame
from gateway.virtual.agenda import Agenda
from gateway.virtual.faults import WireFaults
from gateway.virtual.unit import Unit

__all__ = ["FIFO_BYTES", "Counters", "Pace", "Station"]

FIFO_BYTES = 8
_TOLERANCE_S = 20e-6
_PATIENCE_S = 0.010  # how long a broken request is kept at least; the sender's process may be held up


@dataclass(frozen=True, slots=True)
class Pace:
    """The line's speed: seconds per character, for t3.5, and from there to the first bit of an answer."""

    character_s: float
    silence_s: float
    turnaround_s: float

    @classmethod
    def of(cls, baud: int, turnaround_s: float) -> Pace:
        """8N1 at a baud rate; t3.5 is fixed at 1.75 ms above 19200 Bd."""
        character_s = 10 / baud
        return cls(character_s, 3.5 * character_s if baud <= 19200 else 0.00175, turnaround_s)


@dataclass(slots=True)
class Counters:
    """What the line saw, as a receiver sees it. `short_gaps` are requests that began less than t3.5 after an answer."""

    requests: int = 0
    answers: int = 0
    bytes_in: int = 0
    bytes_out: int = 0
    broken_requests: int = 0
    short_gaps: int = 0
    overlaps: int = 0
    shortest_gap_us: int = -1


class Station:
    """`pace` None answers at once. `broken` is told of an exception that a timed act raised. Its owner closes it."""

    def __init__(
        self,
        clock: Clock,
        units: Mapping[int, Unit],
        emit: Callable[[bytes], None],
        *,
        pace: Pace | None,
        faults: WireFaults,
        broken: Callable[[BaseException], None] | None = None,
    ) -> None:
        self.counters = Counters()
        self.faults = faults
        self._clock = clock
        self._units = units
        self._emit = emit
        self._pace = pace
        self._agenda = Agenda(clock, broken)
        self._framer = RequestFramer()
        self._arrived_until = 0.0
        self._free_at = 0.0
        self._answer_ended: float | None = None
        self._sending = 0
        self._asked: dict[int, int] = {}

    def received(self, data: bytes) -> None:
        """Bytes of the master; call it when they come."""
        now = self._clock.monotonic()
        self.counters.bytes_in += len(data)
        self._count_gap(now)
        character_s = self._pace.character_s if self._pace else 0.0
        began = max(now, self._arrived_until)
        self._arrived_until = began + len(data) * character_s
        data = self.faults.damage(data)
        if self.faults.echo:
            self._send(data, began)
        found = self._framer.feed(data)
        for address, pdu in found:
            self._request(address, pdu)
        if not found or self._framer.waiting:
            self._watch_silence()

    def reset(self) -> None:
        """The line was cut: forget what was under way."""
        self._agenda.clear()
        self._framer.reset()
        self._sending = 0
        self._answer_ended = None

    def close(self) -> None:
        """Give the timer back."""
        self._agenda.close()

    # --- requests ---

    def _request(self, address: int, pdu: bytes) -> None:
        self.counters.requests += 1
        if self._pace is None:
            self._serve(address, pdu, self._clock.monotonic())
            return
        due = self._arrived_until + self._pace.silence_s + self._pace.turnaround_s
        self._agenda.at(due, lambda: self._serve(address, pdu, due))

    def _serve(self, address: int, pdu: bytes, due: float) -> None:
        if address == 0:  # broadcast: everybody does it, nobody answers (V1.02, section 2.1)
            for each in self._units.values():
                each.answer(pdu, self._clock.monotonic())
            return
        unit = self._units.get(address)
        if unit is None:
            return
        asked = self._asked[address] = self._asked.get(address, 0) + 1
        reply = unit.answer(pdu, self._clock.monotonic())
        if reply is None:
            return
        spoiled = unit.faults.spoil(frame(address, reply.pdu))
        if spoiled is None:
            return
        if not (reply.work_s or spoiled.delay_s):
            self._answer(spoiled.frame, due)
            return
        at, mark, work = due + reply.work_s + spoiled.delay_s, unit.start_mark, bool(reply.work_s)

        def answer_late() -> None:
            overtaken = work and self._asked[address] != asked
            if unit.start_mark == mark and not overtaken:
                self._answer(spoiled.frame, at)

        self._agenda.at(at, answer_late)

    def _watch_silence(self) -> None:
        heard = self.counters.bytes_in
        silence_s = max(self._pace.silence_s if self._pace else 0.0, _PATIENCE_S)
        self._agenda.at(self._arrived_until + silence_s, lambda: self._silent(heard))

    def _silent(self, heard: int) -> None:
        if heard != self.counters.bytes_in:
            return
        found = self._framer.reset()
        self.counters.broken_requests += not found
        for address, pdu in found:
            self._request(address, pdu)

    # --- answers ---

    def _answer(self, answer: bytes, at: float) -> None:
        self.counters.answers += 1
        self._send(self.faults.damage(answer), at)

    def _send(self, data: bytes, at: float) -> None:
        if self._pace is None:
            self._out(data)
            self._answer_ended = self._clock.monotonic()
            return
        began = max(at, self._free_at)
        self._free_at = began + len(data) * self._pace.character_s
        self._sending += 1
        self._release(data, 0, began)

    def _release(self, data: bytes, place: int, began: float) -> None:
        """Send what has left the FIFO by now, and come again for the rest."""
        assert self._pace is not None
        end = min(place + FIFO_BYTES, len(data))
        self._agenda.at(began + end * self._pace.character_s, lambda: self._chunk(data, place, end, began))

    def _chunk(self, data: bytes, place: int, end: int, began: float) -> None:
        if end == len(data):
            self._sending -= 1
            self._answer_ended = self._clock.monotonic()
        self._out(data[place:end])
        if end < len(data):
            self._release(data, end, began)

    def _out(self, data: bytes) -> None:
        self.counters.bytes_out += len(data)
        self._emit(data)

    def _count_gap(self, now: float) -> None:
        if self._sending and not self.faults.echo:
            self.counters.overlaps += 1
        if self._answer_ended is None or self._pace is None:
            return
        gap_s = now - self._answer_ended
        self._answer_ended = None
        if gap_s < self._pace.silence_s - _TOLERANCE_S:
            self.counters.short_gaps += 1
        gap_us = int(gap_s * 1e6)
        if not 0 <= self.counters.shortest_gap_us <= gap_us:
            self.counters.shortest_gap_us = gap_us
