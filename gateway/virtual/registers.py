"""What stands in the registers: the model's state laid out as the map says.

Knows nothing of requests or exceptions. Layout and encodings come from the map's blocks; the meaning of each field
is in docs/register-map.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from gateway.maps import Block, ReceiverMap, Role, Table
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.running import Running

__all__ = ["Read", "block_at", "read_block"]


def block_at(the_map: ReceiverMap, table: Table, address: int, count: int) -> Block | None:
    """The one block that holds all of these places, None when there is none."""
    for block in the_map.blocks:
        if block.table is table and block.address <= address and address + count <= block.end:
            return block
    return None


@dataclass(frozen=True, slots=True)
class Read:
    """Registers of a readable block: `count` of them from its register `at`. `now` is monotonic seconds."""

    receiver: VirtualReceiver
    running: Running
    block: Block
    at: int
    count: int
    now: float

    def part_of(self, whole: bytes | bytearray) -> bytes:
        """The registers asked for, out of the whole block's bytes."""
        return bytes(whole[2 * self.at : 2 * (self.at + self.count)])


def read_block(read: Read) -> bytes:
    """The register bytes. Raises KeyError for a role that can't be read."""
    return _READERS[read.block.role](read)


def _status(read: Read) -> bytes:
    memory, running, now = read.receiver.memory, read.running, read.now
    return read.part_of(
        read.block.encode(
            {
                "map_version": read.receiver.map.version,
                "boot_count": memory.boot_count,
                "uptime_s": int(now - running.started_at + 1e-6),
                "revision": memory.revision,
                "newest_event": running.ring.newest,
                "oldest_event": running.ring.oldest,
                "inputs": tuple(read.receiver.inputs),
                "outputs": tuple(running.outputs.closed),
                "modes": tuple(str(mode) for mode in memory.modes),
                "password_set": bool(memory.password),
                "local_programming": memory.local_programming,
                "busy": now < running.busy_until,
                "unlocked_s": running.lock.left_s(now),
                "enrolment": "listening" if running.listening(now) else "idle",
                "enrolment_left_s": running.listening_left_s(now),
                "last_refusal": running.last_refusal,
            }
        )
    )


def _identity(read: Read) -> bytes:
    identity, limits = read.receiver.identity, read.receiver.limits
    return read.part_of(
        read.block.encode(
            {
                "serial": identity.serial,
                "maker": identity.maker,
                "product": identity.product,
                "version": identity.version,
                "outputs": limits.outputs,
                "inputs": limits.inputs,
                "slots": limits.slots,
                "positions": limits.positions,
                "on_time_min_s": limits.on_time_min_s,
                "on_time_max_s": limits.on_time_max_s,
                "name_bytes": limits.name_bytes,
                "block_slots": limits.block_slots,
                "ring": limits.ring,
            }
        )
    )


def _block_crcs(read: Read) -> bytes:
    memory = read.receiver.memory
    crcs = tuple(memory.crc_of(number) for number in range(memory.limits.blocks))
    whole = read.block.encode({"revision": memory.revision, "crcs": crcs, "revision_after": memory.revision})
    return read.part_of(whole)


def _slot_volatile(read: Read) -> bytes:
    size = read.block.count
    first, last = read.at // size, (read.at + read.count - 1) // size
    data = b"".join(read.running.volatile_of(place + 1) for place in range(first, last + 1))
    start = read.at - first * size
    return data[2 * start : 2 * (start + read.count)]


def _settings(read: Read) -> bytes:
    memory = read.receiver.memory
    whole = read.block.encode({"on_times_s": tuple(memory.on_times_s), "local_programming": memory.local_programming})
    return read.part_of(whole)


_READERS: dict[Role, Callable[[Read], bytes]] = {
    Role.STATUS: _status,
    Role.IDENTITY: _identity,
    Role.BLOCK_CRCS: _block_crcs,
    Role.RING: lambda read: read.part_of(read.running.ring.image),
    Role.SLOTS: lambda read: read.part_of(read.receiver.memory.image),
    Role.SLOT_VOLATILE: _slot_volatile,
    Role.SETTINGS: _settings,
}
