"""A checked map: blocks of registers with their roles, code tables and limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from gateway.domain.receiver import Capability, Limits
from gateway.domain.transmitter import Kind, SerialForm
from gateway.maps.fields import Field, Value

__all__ = ["REQUIRED_FIELDS", "Block", "ReceiverMap", "Role", "Table"]


class Table(StrEnum):
    """The four tables of Modbus (Application Protocol V1.1b3, section 4.3)."""

    COIL = "coil"
    DISCRETE = "discrete"
    INPUT = "input"
    HOLDING = "holding"

    @property
    def of_bits(self) -> bool:
        """True when places are bits, False when they are registers."""
        return self in (Table.COIL, Table.DISCRETE)


class Role(StrEnum):
    """What a block is for. `status` may stand several times, every other role once."""

    STATUS = "status"  # read at every poll
    IDENTITY = "identity"
    BLOCK_CRCS = "block-crcs"
    RING = "ring"  # records: events; event n lies at place (n - 1) modulo the ring's size
    SLOTS = "slots"  # records: slot n lies at place n - 1
    SLOT_VOLATILE = "slot-volatile"  # records: what changes by itself, outside the CRCs
    SLOT_WRITE = "slot-write"  # a window: the revision seen, then whole slot records
    SETTINGS = "settings"
    UNLOCK = "unlock"
    PASSWORD = "password"  # noqa: S105 - a role's name
    LOCK = "lock"
    LISTEN = "listen"
    OPERATE = "operate"
    RESET = "reset"


#: The fields that a block must have for its role; more may stand there.
REQUIRED_FIELDS: Mapping[Role, frozenset[str]] = {
    Role.STATUS: frozenset(),
    Role.IDENTITY: frozenset({"serial"}),
    Role.BLOCK_CRCS: frozenset({"revision", "crcs", "revision_after"}),
    Role.RING: frozenset({"number", "boot", "uptime", "event", "origin"}),
    Role.SLOTS: frozenset({"number", "serial", "outputs"}),
    Role.SLOT_VOLATILE: frozenset(),
    Role.SLOT_WRITE: frozenset({"seen"}),
    Role.SETTINGS: frozenset(),
    Role.UNLOCK: frozenset({"password"}),
    Role.PASSWORD: frozenset({"password"}),
    Role.LOCK: frozenset({"lock"}),
    Role.LISTEN: frozenset({"seconds"}),
    Role.OPERATE: frozenset({"output", "duration", "nonce"}),
    Role.RESET: frozenset({"key"}),
}

#: What must stand in a map for a capability: roles, and fields among its status blocks.
_NEEDS: Mapping[Capability, tuple[frozenset[Role], frozenset[str]]] = {
    Capability.REVISION: (frozenset(), frozenset({"revision", "boot_count"})),
    Capability.EVENTS: (frozenset({Role.RING}), frozenset({"boot_count", "newest_event", "oldest_event"})),
    Capability.SLOTS: (
        frozenset({Role.SLOTS, Role.SLOT_WRITE, Role.BLOCK_CRCS}),
        frozenset({"revision", "boot_count"}),
    ),
    Capability.SETTINGS: (frozenset({Role.SETTINGS}), frozenset()),
    Capability.PASSWORD: (frozenset({Role.UNLOCK, Role.PASSWORD, Role.LOCK}), frozenset({"password_set"})),
    Capability.ENROLMENT: (frozenset({Role.LISTEN, Role.RING}), frozenset({"enrolment"})),
    Capability.OPERATE: (frozenset({Role.OPERATE}), frozenset()),
    Capability.RESET: (frozenset({Role.RESET}), frozenset()),
    Capability.BATTERY: (frozenset({Role.SLOTS, Role.SLOT_VOLATILE}), frozenset()),
}


@dataclass(frozen=True, slots=True)
class Block:
    """Contiguous places of one table with named fields.

    `count` is the size of one record in places (bits or registers). `records` is 1 for a plain block; a table of
    records repeats `count` places that often. `open` blocks are answered without the link password. `answer_s` is
    the largest time that the receiver takes before it begins to answer. `constants` are fields with one fixed value.
    """

    name: str
    role: Role
    table: Table
    address: int
    count: int
    fields: Mapping[str, Field]
    records: int = 1
    open: bool = False
    readable: bool = True
    writable: bool = False
    answer_s: float = 0.1
    constants: Mapping[str, int] = field(default_factory=dict)

    @property
    def record_bytes(self) -> int:
        """Bytes of one record on the wire."""
        return (self.count + 7) // 8 if self.table.of_bits else self.count * 2

    @property
    def end(self) -> int:
        """The first address behind the block."""
        return self.address + self.count * self.records

    def address_of(self, record: int) -> int:
        """The address of a record, counted from 0. Raises ValueError outside the table."""
        if not 0 <= record < self.records:
            raise ValueError(f"{self.name}: no record {record}")
        return self.address + record * self.count

    def decode(self, data: bytes) -> dict[str, Value]:
        """All fields of one record. Raises ValueError when the bytes are not exactly one record."""
        if len(data) != self.record_bytes:
            raise ValueError(f"{self.name}: {len(data)} bytes instead of {self.record_bytes}")
        return {name: spec.decode(data) for name, spec in self.fields.items()}

    def encode(self, values: Mapping[str, Value]) -> bytes:
        """One record; fields that are not given are zero. Raises ValueError for unknown or unfitting ones."""
        total_bits = self.record_bytes * 8
        number = 0
        for name, value in values.items():
            spec = self.fields.get(name)
            if spec is None:
                raise ValueError(f"{self.name}: no field {name}")
            number |= spec.encode(value) << total_bits - spec.start_bit - spec.size_bits
        return number.to_bytes(self.record_bytes, "big")


@dataclass(frozen=True, slots=True)
class ReceiverMap:
    """A whole map, checked. `limits` are upper bounds; a receiver's identity may state lower ones.

    `kinds` maps a code in the slot memory to a kind of transmitter. `device_identification` says that
    43/14 is answered. `text` holds what the map itself states of maker and product.
    """

    name: str
    title: str
    version: int
    serial_form: SerialForm
    limits: Limits
    blocks: tuple[Block, ...]
    kinds: Mapping[int, Kind]
    device_identification: bool
    text: Mapping[str, str]
    source: str

    def block(self, role: Role) -> Block:
        """The block of a role. Raises KeyError when the map has none."""
        for block in self.blocks:
            if block.role is role:
                return block
        raise KeyError(role)

    def has(self, role: Role) -> bool:
        """Whether the map has a block of this role."""
        return any(block.role is role for block in self.blocks)

    @property
    def status_blocks(self) -> tuple[Block, ...]:
        """The blocks of a poll, in the order of reading."""
        return tuple(block for block in self.blocks if block.role is Role.STATUS)

    @property
    def capabilities(self) -> frozenset[Capability]:
        """What this map makes possible."""
        roles = {block.role for block in self.blocks}
        status = {name for block in self.status_blocks for name in block.fields}
        return frozenset(
            capability for capability, (need, fields) in _NEEDS.items() if need <= roles and fields <= status
        )
