"""The `show` command: what a virtual receiver holds, as plain JSON values.

Read from the model, not from the registers, so it is a second witness of what the wire says.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from gateway.domain.transmitter import write_serial
from gateway.maps import Role
from gateway.virtual.fault_commands import CommandFault
from gateway.virtual.plain import PlainUnit
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.requests import ReceiverUnit
from gateway.virtual.station import Station

__all__ = ["SUBJECTS", "show"]

SUBJECTS = ("status", "slots", "outputs", "events", "counters")


def show(unit: ReceiverUnit | PlainUnit, station: Station, words: list[str], now: float) -> Any:
    """One subject, `status` when none is named. Raises CommandFault for an unknown one."""
    subject = words[0] if words else "status"
    if subject not in SUBJECTS or len(words) > 1:
        raise CommandFault(f"write: show [{'|'.join(SUBJECTS)}]")
    if subject == "counters":
        return _counters(unit, station)
    if isinstance(unit, PlainUnit):
        return {"power": unit.powered, "inputs": unit.inputs, "outputs": unit.outputs}
    receiver = unit.receiver
    receiver.elapse(now)
    if subject == "slots":
        return _slots(receiver)
    if subject == "outputs":
        return _outputs(receiver)
    return _events(receiver) if subject == "events" else _status(receiver, now)


def _counters(unit: ReceiverUnit | PlainUnit, station: Station) -> dict[str, int]:
    writes = unit.receiver.memory.slot_writes if isinstance(unit, ReceiverUnit) else 0
    return asdict(station.counters) | {"slot_writes": writes, "damaged_bytes": station.faults.damaged_bytes}


def _status(receiver: VirtualReceiver, now: float) -> dict[str, Any]:
    memory, running = receiver.memory, receiver.running
    still = {
        "serial": receiver.identity.serial,
        "power": running is not None,
        "boot_count": memory.boot_count,
        "revision": memory.revision,
        "slots_used": len(memory.slots),
        "inputs": ["violated" if violated else "normal" for violated in receiver.inputs],
        "on_times_s": memory.on_times_s,
        "local_programming": memory.local_programming,
        "password_set": bool(memory.password),
    }
    if running is None:
        return still
    return still | {
        "newest_event": running.ring.newest,
        "unlocked_s": running.lock.left_s(now),
        "listening_s": running.listening_left_s(now),
        "last_refusal": running.last_refusal,
        "board": running.board.word,
    }


def _slots(receiver: VirtualReceiver) -> list[dict[str, Any]]:
    block = receiver.map.block(Role.SLOTS)
    return [
        {
            "slot": number,
            "serial": write_serial(record.serial),
            "kind": block.fields["kind"].decode(record.raw),
            "name": block.fields["name"].decode(record.raw),
            "outputs": {str(place): sorted(group) for place, group in enumerate(record.outputs, 1) if group},
        }
        for number, record in sorted(receiver.memory.slots.items())
    ]


def _outputs(receiver: VirtualReceiver) -> list[dict[str, Any]]:
    memory, running = receiver.memory, receiver.running
    closed = running.outputs.closed if running else [False] * receiver.limits.outputs
    rows = zip(closed, memory.modes, memory.on_times_s, strict=True)
    return [
        {"output": number, "closed": state, "mode": str(mode), "on_time_s": seconds}
        for number, (state, mode, seconds) in enumerate(rows, 1)
    ]


def _events(receiver: VirtualReceiver) -> list[dict[str, Any]]:
    running = receiver.running
    if running is None:
        return []
    block = receiver.map.block(Role.RING)
    ring, size = running.ring, block.record_bytes
    places = ((number - 1) % block.records for number in range(max(1, ring.newest - 19), ring.newest + 1))
    return [dict(block.decode(bytes(ring.image[place * size : (place + 1) * size]))) for place in places]
