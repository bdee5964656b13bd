"""A serial cable in memory, on the fake clock, with units at its other end.

`FakeCable.open` goes where a line's opener goes. Bytes take their time on the wire both ways, in chunks of the
size that the test chooses. `behave` decides what comes back for a request: it gets the good answer frame and
returns (seconds after the request has arrived, bytes) pairs; None in place of bytes pulls the adapter out.
A unit answers in order, so an answer never overtakes an older one. Gaps before a request that are shorter than
the standard's silence are kept in `short_gaps`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from gateway import modbus
from gateway.errors import PortUnavailable
from gateway.line import LineConfig, Timing
from gateway.line.wire import WireListener
from tests.fakes.clock import FakeClock

__all__ = ["Behaviour", "FakeCable", "FakeUnit", "FakeWire", "late", "prompt"]

Reply = Iterable[tuple[float, bytes | None]]
Behaviour = Callable[[bytes], Reply]
TURNAROUND_S = 0.001
TOLERANCE_S = 20e-6


def prompt(answer: bytes) -> Reply:
    """A healthy unit."""
    return [(TURNAROUND_S, answer)]


def late(seconds: float) -> Behaviour:
    """A unit that takes its time."""
    return lambda answer: [(seconds, answer)]


class FakeUnit:
    """Registers and bits of one unit: register n holds n at first, every third bit is set."""

    def __init__(self) -> None:
        self.registers = {n: n for n in range(2000)}
        self.bits = {n: n % 3 == 0 for n in range(2000)}
        self.written: list[modbus.Request] = []
        self.exception: int | None = None
        self.exceptions: list[int | None] = []

    def answer(self, pdu: bytes) -> bytes:
        """The answer's PDU. `exceptions` is used up first, one for each request, then `exception`."""
        request = modbus.decode_request(pdu)
        code = self.exceptions.pop(0) if self.exceptions else self.exception
        if code is not None:
            return modbus.encode_answer(modbus.ExceptionAnswer(request.function, code))
        return modbus.encode_answer(self._serve(request))

    def _serve(self, request: modbus.Request) -> modbus.Answer:
        if isinstance(request, modbus.RegistersRead):
            span = range(request.address, request.address + request.count)
            data = b"".join(self.registers[n].to_bytes(2, "big") for n in span)
            return modbus.RegistersAnswer(request.function, data)
        if isinstance(request, modbus.BitsRead):
            span = range(request.address, request.address + request.count)
            return modbus.BitsAnswer(request.function, tuple(self.bits[n] for n in span))
        if isinstance(request, modbus.ReadDeviceIdentification):
            return modbus.IdentificationAnswer(request.code, 1, False, 0, ((0, b"Fennel Quay"), (1, b"slip gate")))
        self.written.append(request)
        if isinstance(request, modbus.WriteCoil):
            self.bits[request.address] = request.value
            return modbus.WriteAnswer(request.function, request.address, 0xFF00 if request.value else 0)
        if isinstance(request, modbus.WriteRegister):
            self.registers[request.address] = request.value
            return modbus.WriteAnswer(request.function, request.address, request.value)
        if isinstance(request, modbus.WriteCoils):
            self.bits.update(enumerate(request.values, request.address))
            return modbus.WriteManyAnswer(request.function, request.address, len(request.values))
        for place in range(request.count):
            word = request.data[2 * place : 2 * place + 2]
            self.registers[request.address + place] = int.from_bytes(word, "big")
        return modbus.WriteManyAnswer(request.function, request.address, request.count)


class FakeCable:
    """The adapter, the wire and the units; `open` is a line's opener."""

    def __init__(self, clock: FakeClock, units: dict[int, FakeUnit] | None = None) -> None:
        self.clock = clock
        self.units = units if units is not None else {1: FakeUnit()}
        self.behave: Behaviour = prompt
        self.echo = False
        self.paced = True
        self.chunk = 8
        self.fault: PortUnavailable | None = None
        self.wire: FakeWire | None = None
        self.opened = 0
        self.sent: list[tuple[float, bytes]] = []
        self.short_gaps: list[float] = []
        self.answers_until = 0.0

    async def open(self, config: LineConfig, listener: WireListener) -> FakeWire:
        """Open it, or say `fault`."""
        if self.fault is not None:
            raise self.fault
        self.opened += 1
        self.wire = FakeWire(self, Timing.of(config), listener)
        return self.wire

    def unplug(self) -> None:
        """Pull the adapter out; it can't be opened until `plug`."""
        self.fault = PortUnavailable("There is no port.", remedy="Plug the adapter in.", code="port-missing")
        if self.wire is not None:
            self.wire.pull()

    def plug(self) -> None:
        """Put it back."""
        self.fault = None


class FakeWire:
    """One opening of the cable; implements `gateway.line.wire.Wire`."""

    device = "/dev/fake"

    def __init__(self, cable: FakeCable, timing: Timing, listener: WireListener) -> None:
        self.paced = cable.paced
        self._cable = cable
        self._clock = cable.clock
        self._timing = timing
        self._listener = listener
        self._held = bytearray()
        self._least = 1
        self._gone = False
        self._busy_until = self._clock.monotonic() - 1.0

    def send(self, data: bytes) -> None:
        """Put a frame on the wire and let the unit answer."""
        now = self._clock.monotonic()
        self._cable.sent.append((now, data))
        gap = now - self._busy_until
        if gap < self._timing.silence_s - TOLERANCE_S:
            self._cable.short_gaps.append(gap)
        arrived = now + self._timing.wire_s(len(data))
        self._busy_until = arrived
        if self._cable.echo:
            self._deliver(now, data)
        unit = self._cable.units.get(data[0])
        if unit is None:
            return
        answer = modbus.frame(data[0], unit.answer(data[1:-2]))
        for delay, piece in self._cable.behave(answer):
            if piece is None:
                self._at(arrived + delay, self._cable.unplug)
            elif piece:
                begin = max(arrived + delay, self._cable.answers_until)
                self._cable.answers_until = begin + self._timing.wire_s(len(piece))
                self._deliver(begin, piece)

    def disturb(self, data: bytes) -> None:
        """Somebody else's bytes come along now."""
        self._deliver(self._clock.monotonic(), data)

    def expect(self, count: int) -> None:
        """Keep what comes until there are so many, or 255, as a terminal's VMIN does."""
        self._least = min(count, 255)

    def read_now(self) -> None:
        """Give out what was kept."""
        held = bytes(self._held)
        self._held.clear()
        if held and not self._gone:
            self._listener.received(held)

    def pull(self) -> None:
        """The adapter goes away."""
        if not self._gone:
            self._gone = True
            self._listener.lost("The adapter went away.")

    async def close(self) -> None:
        """Nothing comes any more."""
        self._gone = True

    def _deliver(self, begin: float, data: bytes) -> None:
        for start in range(0, len(data), self._cable.chunk):
            piece = data[start : start + self._cable.chunk]
            self._at(begin + self._timing.wire_s(start + len(piece)), partial(self._arrive, piece))

    def _arrive(self, piece: bytes) -> None:
        if self._gone:
            return
        self._busy_until = max(self._busy_until, self._clock.monotonic())
        self._held += piece
        if len(self._held) >= self._least:
            self.read_now()

    def _at(self, moment: float, action: Callable[[], None]) -> None:
        self._clock.alarm(action).set(moment)
