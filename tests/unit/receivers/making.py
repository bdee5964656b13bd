"""A driver of the reference map on a unit in memory."""

from __future__ import annotations

from collections.abc import Callable

from gateway.domain.receiver import Slot
from gateway.maps import ReceiverMap, load_map
from gateway.receivers import RegisterMapReceiver, build_receiver
from tests.fakes.clock import FakeClock
from tests.fakes.register_wire import FakeUnit, FakeWire

REFERENCE = load_map("reference")


def make(
    unit: FakeUnit | None = None,
    *,
    password: Callable[[], str | tuple[str, ...]] = lambda: "",
    registers: int = 125,
    receiver_map: ReceiverMap = REFERENCE,
) -> tuple[RegisterMapReceiver, FakeWire, FakeClock]:
    """The driver, its wire (with `unit` behind it) and the clock that moves its waits."""
    wire, clock = FakeWire(unit or FakeUnit(), registers=registers), FakeClock()
    return build_receiver("slip-gate", receiver_map, wire, 1, password, clock=clock), wire, clock


def slot(number: int, serial: int = 48_231_907, name: str = "Berth 12") -> Slot:
    """A slot as the reference map's memory gives it back: eight positions, six opaque octets."""
    outputs = (frozenset({1}), *(frozenset[int]() for _ in range(7)))
    return Slot(number, serial, 5, outputs, name, 0, bytes(6))
