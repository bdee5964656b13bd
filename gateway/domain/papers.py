"""Papers that are handed over: what a site has and who has access, as it stood at one moment.

Values for people alone: names, dates and sentences are texts already. What a paper says was true when it was
written, and it says when that was and whether the clock was known to be right.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = [
    "AccessPaper",
    "AccessRow",
    "GatePaper",
    "GroupPaper",
    "HandoverPaper",
    "Heading",
    "InputRow",
    "OutputRow",
    "ReceiverPaper",
    "RetentionPaper",
    "RetentionRow",
    "RevokedRow",
    "TransmitterRow",
]


@dataclass(frozen=True, slots=True)
class Heading:
    """What every paper begins with. `roster` is the digest in force, empty without one."""

    site: str
    written: datetime
    clock_trusted: bool
    zone: str
    roster: str
    roster_time: datetime | None


@dataclass(frozen=True, slots=True)
class OutputRow:
    """One relay. `mode` is set on the board and empty where nobody can tell; `on_time_s` None: not known."""

    number: int
    name: str
    mode: str
    on_time_s: int | None


@dataclass(frozen=True, slots=True)
class InputRow:
    """One monitored contact."""

    number: int
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class ReceiverPaper:
    """One receiver. `link` and `proven` are sentences; what was never read is None or empty."""

    name: str
    maker: str
    product: str
    version: str
    serial: str
    link: str
    proven: str
    slots_used: int | None
    slots: int | None
    local_programming: bool | None
    password_set: bool | None
    outputs: tuple[OutputRow, ...]
    inputs: tuple[InputRow, ...]


@dataclass(frozen=True, slots=True)
class GatePaper:
    """One gate: what moves it, what watches it, its times."""

    name: str
    title: str
    kind: str
    receiver: str
    outputs: tuple[str, ...]
    contacts: tuple[str, ...]
    travel_s: float
    stay_open_limit_s: float | None
    service_cycles: int | None
    cycles: int


@dataclass(frozen=True, slots=True)
class GroupPaper:
    """A set of rights that many holders share, and how many transmitters have it."""

    name: str
    rights: tuple[str, ...]
    transmitters: int


@dataclass(frozen=True, slots=True)
class TransmitterRow:
    """Who has what: one transmitter. `places` are sentences; `state` is the standing as a sentence."""

    holder: str
    serial: str
    kind: str
    group: str
    valid_from: str
    valid_until: str
    places: tuple[str, ...]
    state: str


@dataclass(frozen=True, slots=True)
class RevokedRow:
    """A revocation in force."""

    serial: str
    time: datetime
    reason: str
    proven: bool


@dataclass(frozen=True, slots=True)
class HandoverPaper:
    """A whole site."""

    heading: Heading
    receivers: tuple[ReceiverPaper, ...]
    gates: tuple[GatePaper, ...]
    groups: tuple[GroupPaper, ...]
    transmitters: tuple[TransmitterRow, ...]
    revoked: tuple[RevokedRow, ...]


@dataclass(frozen=True, slots=True)
class RetentionRow:
    """One kind of thing that is kept: whose data is in it, for how long, and the setting that says so ("": none)."""

    what: str
    holds: str
    kept: str
    setting: str


@dataclass(frozen=True, slots=True)
class RetentionPaper:
    """What is kept about people at this site, and for how long."""

    heading: Heading
    rows: tuple[RetentionRow, ...]


@dataclass(frozen=True, slots=True)
class AccessRow:
    """One transmitter that works a gate. `state` says whether the receiver is proven to hold it."""

    holder: str
    serial: str
    positions: tuple[str, ...]
    outputs: tuple[str, ...]
    valid_from: str
    valid_until: str
    state: str


@dataclass(frozen=True, slots=True)
class AccessPaper:
    """Who has access to one gate, by holder."""

    heading: Heading
    gate: str
    title: str
    rows: tuple[AccessRow, ...]
