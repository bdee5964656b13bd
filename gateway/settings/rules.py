"""What must fit between the tables of a settings file: every misfit in one pass.

Each is a text that begins with its place, `lines.quayside.port: ...`, and says what to write. By a key that is wrong
by itself nothing is judged.
"""

from __future__ import annotations

from collections.abc import Iterator

from gateway.maps import built_in_maps
from gateway.settings.gate_rules import gate_misfits
from gateway.settings.receivers import REGISTER_MAP, ReceiverSettings
from gateway.settings.tables import Tables

__all__ = ["misfits"]


def misfits(tables: Tables) -> Iterator[str]:
    """All of them."""
    yield from _lines(tables)
    yield from _receivers(tables)
    yield from gate_misfits(tables)
    yield from _outlets(tables)
    yield from _conditions(tables)


def _lines(tables: Tables) -> Iterator[str]:
    ports: dict[str, str] = {}
    for name, line in tables.lines.items():
        if tables.sound("lines", name, "port") and (owner := ports.setdefault(line.port, name)) != name:
            yield (
                f"lines.{name}.port: {line.port} already belongs to line {owner}; "
                f"give it another port, or put its receivers on line {owner}"
            )


def _receivers(tables: Tables) -> Iterator[str]:
    places: dict[tuple[str, int], str] = {}
    for name, receiver in tables.receivers.items():
        if receiver.by_hand or not tables.sound("receivers", name, "kind"):
            continue
        if tables.sound("receivers", name, "driver", "map"):
            yield from _driver(name, receiver)
        if not receiver.line or not tables.sound("receivers", name, "line"):
            continue  # that is told with the table itself
        if receiver.line not in (lines := tables.names("lines")):
            known = ", ".join(lines) or "none"
            yield f"receivers.{name}.line: there is no line “{receiver.line}”; lines are: {known}"
        elif not tables.sound("receivers", name, "address"):
            continue
        elif (owner := places.setdefault((receiver.line, receiver.address), name)) != name:
            yield (
                f"receivers.{name}: address {receiver.address} on line {receiver.line} "
                f"already belongs to {owner}; give each receiver its own"
            )


def _driver(name: str, receiver: ReceiverSettings) -> Iterator[str]:
    """Whether anybody here knows the driver or the map. What stands in a map file is read later."""
    if receiver.driver != REGISTER_MAP:
        from gateway.receivers.building import known_drivers  # noqa: PLC0415 - slow to load, and few files need it

        if receiver.driver not in (known := known_drivers()):
            yield (
                f"receivers.{name}.driver: there is no driver “{receiver.driver}”; write one of {', '.join(known)}, "
                "or install the package that brings it"
            )
    elif receiver.map not in built_in_maps() and not receiver.map.endswith(".toml"):
        yield (
            f"receivers.{name}.map: there is no built-in map “{receiver.map}”; write one of "
            f"{', '.join(built_in_maps())}, or the path of a map file that ends in .toml"
        )


def _outlets(tables: Tables) -> Iterator[str]:
    receivers = tables.names("receivers")
    for name, outlet in tables.outlets.items():
        for receiver in dict.fromkeys(getattr(outlet, "receivers", ())):
            if receiver not in receivers:
                known = ", ".join(receivers)
                yield f"outlets.{name}.receivers: there is no receiver “{receiver}”; receivers are: {known}"
        for table in ("accounts", "points"):
            for key in getattr(outlet, table, {}):
                yield from _place_of_alarms(f"outlets.{name}.{table}", key, tables)


def _place_of_alarms(table: str, key: str, tables: Tables) -> Iterator[str]:
    """A key of `accounts` or `points`: a receiver, one of its inputs, or a gate."""
    if key.startswith("gate:"):
        gate, gates = key.removeprefix("gate:"), tables.names("gates")
        if gate not in gates:
            yield f"{table}: there is no gate “{gate}”; gates are: {', '.join(gates) or 'none yet'}"
        return
    receiver, slash, number = key.partition("/")
    if receiver not in (receivers := tables.names("receivers")):
        yield f"{table}: there is no receiver “{receiver}”; receivers are: {', '.join(receivers)}"
    elif slash and not (number.isascii() and number.isdigit() and 1 <= int(number) <= 64 and number[0] != "0"):
        yield f"{table}: “{key}” names no input; write for example “{receiver}/2”, or “gate:NAME” for a gate"


def _conditions(tables: Tables) -> Iterator[str]:
    if tables.conditions is None or tables.gateway is None or not tables.sound("gateway", "", "keep_heard_days"):
        return
    unused, kept = tables.conditions.unused_days, tables.gateway.keep_heard_days
    if unused is not None and unused > kept:
        yield (
            f"conditions.unused_days: {unused} days are asked for, but presses are kept for {kept} days "
            "(gateway.keep_heard_days); ask for no more days than are kept"
        )
