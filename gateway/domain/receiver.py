"""A receiver as its wire shows it: identity, limits, status, settings, slots and the events of its ring.

Numbers of outputs, inputs, positions and slots start at 1, as people count them. Register addresses and
encodings are none of this file's business; the map and the driver own those.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "BoardEvent",
    "Capability",
    "EnrolmentState",
    "Identity",
    "Limits",
    "Origin",
    "OutputMode",
    "ReceiverSettings",
    "RingEntry",
    "RingPlace",
    "RingRead",
    "Slot",
    "Status",
]


class Capability(StrEnum):
    """What a map makes possible. What is absent is absent from the API too."""

    REVISION = "revision"  # a configuration revision and boot count in the status
    EVENTS = "events"  # a numbered event ring
    SLOTS = "slots"  # a memory of transmitters, with block CRCs
    SETTINGS = "settings"  # on-times, local programming lock
    PASSWORD = "password"  # noqa: S105 - a capability's name
    ENROLMENT = "enrolment"
    OPERATE = "operate"  # one closure that the receiver itself ends
    RESET = "reset"  # factory reset
    BATTERY = "battery"  # what a transmitter's last telegram said of its battery


class Battery(StrEnum):
    """What a transmitter's last telegram said of its battery; not every transmitter says."""

    UNKNOWN = "unknown"
    GOOD = "good"
    LOW = "low"


class OutputMode(StrEnum):
    """Set by a selector on the board, only read by us."""

    LATCHING = "latching"
    TIMED = "timed"
    MOMENTARY = "momentary"


class EnrolmentState(StrEnum):
    """Whether the receiver listens for a transmitter that it need not know."""

    IDLE = "idle"
    LISTENING = "listening"


class Origin(StrEnum):
    """Who did it: a transmitter, a request on the line, or somebody at the board."""

    RADIO = "radio"
    LINE = "line"
    BOARD = "board"


@dataclass(frozen=True, slots=True)
class Identity:
    """Who answers. `serial` tells a receiver from its replacement; `name`s of makers are as the device says."""

    maker: str
    product: str
    version: str
    serial: str
    map_name: str
    map_version: int


@dataclass(frozen=True, slots=True)
class Limits:
    """What this receiver has room for. Zero means that it has none of it."""

    outputs: int
    inputs: int
    slots: int = 0
    positions: int = 0
    on_time_min_s: int = 0
    on_time_max_s: int = 0
    name_bytes: int = 0
    block_slots: int = 32
    ring: int = 0

    @property
    def blocks(self) -> int:
        """How many CRC blocks the slots make; the last may be short."""
        return -(-self.slots // self.block_slots)

    def block_of(self, slot: int) -> int:
        """The block (from 0) that a slot (from 1) lies in."""
        return (slot - 1) // self.block_slots

    def slots_of(self, block: int) -> range:
        """The slot numbers (from 1) of a block (from 0)."""
        first = block * self.block_slots + 1
        return range(first, min(first + self.block_slots, self.slots + 1))


@dataclass(frozen=True, slots=True)
class Status:
    """One poll. Tuples have one place per output or input, number 1 first.

    What a map does not have is None: `revision`, `boot_count`, `newest_event` and the rest of a plain
    relay board, for example. `input_violated` False means normal.
    """

    input_violated: tuple[bool, ...]
    output_closed: tuple[bool, ...]
    output_modes: tuple[OutputMode, ...] | None = None
    map_version: int | None = None
    boot_count: int | None = None
    uptime_s: int | None = None
    revision: int | None = None
    newest_event: int | None = None
    oldest_event: int | None = None
    local_programming: bool | None = None
    password_set: bool | None = None
    unlocked_s: int | None = None
    enrolment: EnrolmentState | None = None
    enrolment_left_s: int | None = None
    busy: bool = False
    last_refusal: str | None = None


@dataclass(frozen=True, slots=True)
class Slot:
    """One numbered place in the memory.

    `outputs` has one entry per position, number 1 first: a frozenset of output numbers. A slot without
    any pair of position and output does not exist. `kind` is the map's code, 0 when not stated. `opaque` are the
    maker's own bytes, kept as they are.
    """

    number: int
    serial: int
    kind: int
    outputs: tuple[frozenset[int], ...]
    name: str = ""
    flags: int = 0
    opaque: bytes = b""

    @property
    def pairs(self) -> frozenset[tuple[int, int]]:
        """All pairs of position number and output number."""
        return frozenset((place, output) for place, group in enumerate(self.outputs, 1) for output in group)


@dataclass(frozen=True, slots=True)
class ReceiverSettings:
    """What can be set from the line. `on_times_s` has one entry per output, number 1 first.

    `local_programming` True means that the board's own buttons may add, remove and time. The link password is
    write-only: `password_set` alone is known.
    """

    on_times_s: tuple[int, ...]
    local_programming: bool
    password_set: bool


@dataclass(frozen=True, slots=True, order=True)
class RingPlace:
    """The place of an event in a receiver's ring. Number 0 stands for "before the first"."""

    boot_count: int
    number: int


class BoardEvent(StrEnum):
    """What a ring entry tells."""

    PRESS = "press"  # a transmitter was heard; `serial`, `position`, `slot` (0 when unknown)
    INPUT = "input"  # `number`, `value` 1 violated
    OUTPUT = "output"  # `number`, `value` 1 closed
    SLOT = "slot"  # a slot was written, changed or freed; `slot`, `serial`
    SETTING = "setting"  # `number` of the output whose on-time changed, 0 for others; `value` the new one
    LOCK = "lock"  # local programming; `value` 1 allowed
    MODE = "mode"  # a selector was moved; `number`, `value` the mode's code
    RESET = "reset"  # factory reset
    REFUSAL = "refusal"  # something was refused; `value` says why
    START = "start"  # the receiver started


@dataclass(frozen=True, slots=True)
class RingEntry:
    """A ring entry: one thing that happened at the receiver."""

    place: RingPlace
    uptime_s: float
    kind: BoardEvent
    origin: Origin
    serial: int = 0
    slot: int = 0
    position: int = 0
    number: int = 0
    value: int = 0
    enrolling: bool = False


@dataclass(frozen=True, slots=True)
class RingRead:
    """Entries after a place, in order, and how many were lost because the ring had turned over them.

    `restarted` is True when the boot count rose: the entries then begin with the new start, and what the old
    one had not yet told is lost.
    """

    entries: tuple[RingEntry, ...]
    lost: int = 0
    restarted: bool = False
