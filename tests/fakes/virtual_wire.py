"""A virtual receiver behind a line's port, all in memory and on the fake clock.

`VirtualCable.open` goes where a line's opener goes (as `FakeCable` in tests/fakes/wire.py); behind it stands the
same station that serves a pseudo-terminal, so pacing, faults and the whole receiver are there, in virtual time.
"""

from __future__ import annotations

from collections.abc import Mapping

from gateway.clock import Clock
from gateway.errors import PortUnavailable
from gateway.line import LineConfig
from gateway.line.wire import WireListener
from gateway.maps import load_map
from gateway.virtual.faults import WireFaults
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.requests import ReceiverUnit
from gateway.virtual.station import Pace, Station

__all__ = ["VirtualCable", "VirtualPort", "some_unit"]


def some_unit(
    clock: Clock, *, serial: str = "FQ-0001", outputs: int = 4, inputs: int = 4, slots: int = 64
) -> ReceiverUnit:
    """A receiver of the reference map, fresh from the factory and under power."""
    receiver = VirtualReceiver(load_map("reference"), serial=serial, outputs=outputs, inputs=inputs, slots=slots)
    receiver.power_on(clock.monotonic())
    return ReceiverUnit(receiver)


class VirtualCable:
    """The adapter and the receivers on its line. Needs a running event loop."""

    def __init__(self, clock: Clock, units: Mapping[int, ReceiverUnit], *, baud: int = 115200) -> None:
        self.station = Station(clock, units, self._emit, pace=Pace.of(baud, turnaround_s=0.001), faults=WireFaults())
        self.port: VirtualPort | None = None
        self._plugged = True

    async def open(self, config: LineConfig, listener: WireListener) -> VirtualPort:
        """The port; PortUnavailable while the adapter is out."""
        if not self._plugged:
            raise PortUnavailable("There is no port.", remedy="Plug the adapter in.", code="port-missing")
        self.port = VirtualPort(self.station, listener)
        return self.port

    def unplug(self) -> None:
        """Pull the adapter out."""
        self._plugged = False
        self.station.reset()
        if self.port is not None:
            self.port.pull()

    def plug(self) -> None:
        """Put it back."""
        self._plugged = True

    def close(self) -> None:
        """Give the timers back."""
        self.station.close()

    def _emit(self, data: bytes) -> None:
        if self.port is not None:
            self.port.deliver(data)


class VirtualPort:
    """Implements `gateway.line.wire.Wire`."""

    device = "/dev/virtual"
    paced = False

    def __init__(self, station: Station, listener: WireListener) -> None:
        self._station = station
        self._listener = listener
        self._gone = False

    def send(self, data: bytes) -> None:
        if not self._gone:
            self._station.received(data)

    def deliver(self, data: bytes) -> None:
        """Bytes of the receivers."""
        if not self._gone:
            self._listener.received(data)

    def expect(self, count: int) -> None:
        """Everything is told at once anyway."""

    def read_now(self) -> None:
        """Nothing is ever kept back."""

    def pull(self) -> None:
        """The adapter goes away."""
        if not self._gone:
            self._gone = True
            self._listener.lost("The adapter went away.")

    async def close(self) -> None:
        self._gone = True
