"""From a receiver's settings to its driver: the register-map driver, or one of another package.

Another package offers a driver by an entry point in the group `gatepost.receivers`: a callable that takes a
`DriverOrder` and returns something that fits `ports.Receiver`. docs/drivers.md shows one that works.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points

from gateway.clock import Clock, SystemClock
from gateway.errors import SettingsFault
from gateway.line import Line, Timing
from gateway.maps import ReceiverMap
from gateway.ports import Receiver
from gateway.receivers.password import Keyring, PasswordKeeper, PasswordSupplier
from gateway.receivers.registermap import RegisterMapReceiver
from gateway.receivers.wire import Wire

__all__ = [
    "ENTRY_POINT_GROUP",
    "REGISTER_MAP",
    "DriverFactory",
    "DriverOrder",
    "build_receiver",
    "find_driver",
    "known_drivers",
]

ENTRY_POINT_GROUP = "gatepost.receivers"
REGISTER_MAP = "register-map"
"""The name of the driver that comes with the program."""


@dataclass(frozen=True, slots=True)
class DriverOrder:
    """What a driver of another package is built from.

    `name`, `address` and `map` are the receiver's settings as they stand there (the driver may use `map` for a file
    of its own); `port` and `baud` are its line's. The port is the driver's alone: no line of ours opens it.
    """

    name: str
    port: str
    baud: int
    address: int
    map: str
    clock: Clock
    password: PasswordSupplier


DriverFactory = Callable[[DriverOrder], Receiver]


def build_receiver(
    name: str,
    receiver_map: ReceiverMap,
    line: Wire,
    address: int,
    password_supplier: PasswordSupplier = lambda: "",
    *,
    password_keeper: PasswordKeeper | None = None,
    clock: Clock | None = None,
    timing: Timing | None = None,
) -> RegisterMapReceiver:
    """The register-map driver for the receiver `address` on a line. Nothing is sent yet.

    `timing` is the line's own unless given; a `Wire` that is no `Line` and has none counts as 19200 Bd, 8N1.
    """
    if timing is None:
        timing = line.timing if isinstance(line, Line) else Timing(10 / 19_200, 35 / 19_200)
    return RegisterMapReceiver(
        name,
        receiver_map,
        line,
        address,
        keyring=Keyring(password_supplier, password_keeper),
        clock=clock or SystemClock(),
        timing=timing,
    )


def known_drivers() -> tuple[str, ...]:
    """The names that `driver` may have in the settings."""
    return (REGISTER_MAP, *sorted({point.name for point in entry_points(group=ENTRY_POINT_GROUP)}))


def find_driver(name: str) -> DriverFactory:
    """The driver of another package. Raises SettingsFault when none has this name or it can't be loaded."""
    found = {point.name: point for point in entry_points(group=ENTRY_POINT_GROUP)}
    if name not in found:
        raise SettingsFault(
            f"There is no driver “{name}”.",
            remedy=f"Write one of {', '.join(known_drivers())}, or install the package that brings it.",
        )
    return _load(found[name])


def _load(point: EntryPoint) -> DriverFactory:
    try:
        factory = point.load()
    except Exception as fault:  # whatever another package does while it is imported
        raise SettingsFault(
            f"The driver “{point.name}” can't be loaded: {fault}.",
            remedy=f"Repair or reinstall the package that brings {point.value}.",
        ) from fault
    if not callable(factory):
        raise SettingsFault(
            f"The driver “{point.name}” names {point.value}, which can't be called.",
            remedy="Its entry point must name a callable that takes a DriverOrder; see docs/drivers.md.",
        )
    return factory  # type: ignore[no-any-return]
