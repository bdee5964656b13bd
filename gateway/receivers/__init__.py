"""Drivers: what stands between `ports.Receiver` and a receiver's wire.

Public: `build_receiver` for whatever has a map, `find_driver` for drivers of other packages. The room knows
registers and refusals; it doesn't know rosters, plans, mirrors or what an event means to anybody.
"""

from __future__ import annotations

from gateway.receivers.building import (
    ENTRY_POINT_GROUP,
    REGISTER_MAP,
    DriverFactory,
    DriverOrder,
    build_receiver,
    find_driver,
)
from gateway.receivers.partial import PartialReceiver
from gateway.receivers.password import PasswordSupplier
from gateway.receivers.registermap import RegisterMapReceiver
from gateway.receivers.wire import HeldWire, Wire

__all__ = [
    "ENTRY_POINT_GROUP",
    "REGISTER_MAP",
    "DriverFactory",
    "DriverOrder",
    "HeldWire",
    "PartialReceiver",
    "PasswordSupplier",
    "RegisterMapReceiver",
    "Wire",
    "build_receiver",
    "find_driver",
]
