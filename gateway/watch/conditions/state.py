"""All that conditions remember. Frozen values of plain fields, so that the whole is one document over a restart.

A moment has two times: `at`, seconds that never run backwards while the machine runs and that all durations are
counted in, and `time`, the wall time that people are told. After a start of the machine `at` counts anew; `rebased`
then moves every moment so that their ages stay true, as far as the wall clock knows how long the gap was.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, TypeVar

from gateway.domain.condition import Condition, ConditionKind
from gateway.domain.live import LinkState

__all__ = [
    "ContactFacts",
    "Expectation",
    "GateFacts",
    "Happening",
    "LineSample",
    "LinkFacts",
    "Moment",
    "State",
    "rebased",
]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Moment:
    """When something was. `at` is in seconds of the running machine, `time` is wall time."""

    at: float
    time: datetime


@dataclass(frozen=True, slots=True)
class ContactFacts:
    """The level last told, since when (None: it stood so when first seen), and the last word of chattering."""

    violated: bool
    since: Moment | None = None
    chatter: Moment | None = None


@dataclass(frozen=True, slots=True)
class Expectation:
    """An output has worked, and the gate has to answer: open when `opening`, else shut."""

    opening: bool
    since: Moment
    output: int


@dataclass(frozen=True, slots=True)
class GateFacts:
    """What is known of one gate.

    `away` is True while it is not shut, None before anything is known. `opened` is when it left that end, `moved`
    when it last began to move, `command` when anything last asked it to, `unexplained` when it opened with nothing
    of the kind before. `cycles` counts openings since the last service.
    """

    away: bool | None = None
    opened: Moment | None = None
    moved: Moment | None = None
    command: Moment | None = None
    unexplained: Moment | None = None
    expects: Expectation | None = None
    cycles: int = 0


@dataclass(frozen=True, slots=True)
class LinkFacts:
    """A receiver's link, and since when it is so."""

    state: LinkState
    since: Moment


@dataclass(frozen=True, slots=True)
class LineSample:
    """A line's counts at one time."""

    at: float
    sent: int
    spoilt: int


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened and stands until somebody takes note."""

    kind: ConditionKind
    since: Moment
    receiver: str = ""
    serial: int | None = None
    count: int = 1


@dataclass(frozen=True, slots=True)
class State:
    """Everything. `after` is the number of the last event taken in, `given` how many condition ids were given out.

    `unknown` has the newest presses of transmitters that nobody knows, `heard` when each known one was last heard
    (kept only while somebody asks for unused ones). `doubt` is when a receiver's story had its last gap.
    """

    after: int = 0
    given: int = 0
    contacts: Mapping[str, ContactFacts] = field(default_factory=dict)
    gates: Mapping[str, GateFacts] = field(default_factory=dict)
    links: Mapping[str, LinkFacts] = field(default_factory=dict)
    lines: Mapping[str, tuple[LineSample, ...]] = field(default_factory=dict)
    happened: Mapping[str, Happening] = field(default_factory=dict)
    unknown: Mapping[int, tuple[Moment, ...]] = field(default_factory=dict)
    heard: Mapping[int, Moment] = field(default_factory=dict)
    doubt: Mapping[str, Moment] = field(default_factory=dict)
    clock_lost: Moment | None = None
    open: Mapping[str, Condition] = field(default_factory=dict)
    recent: tuple[Condition, ...] = ()

    def gate(self, name: str) -> GateFacts:
        """What is known of a gate."""
        return self.gates.get(name, GateFacts())

    def with_gate(self, name: str, facts: GateFacts) -> State:
        """The same with one gate changed."""
        return replace(self, gates={**self.gates, name: facts})


def rebased(value: T, by_s: float) -> T:
    """The same value with every `at` in it moved by so many seconds."""
    return value if by_s == 0 else _moved(value, by_s)


def _moved(value: Any, by_s: float) -> Any:
    if isinstance(value, Moment | LineSample):
        return replace(value, at=value.at + by_s)
    if isinstance(value, Mapping):
        return {key: _moved(each, by_s) for key, each in value.items()}
    if isinstance(value, tuple):
        return tuple(_moved(each, by_s) for each in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changes = {each.name: _moved(getattr(value, each.name), by_s) for each in dataclasses.fields(value)}
        return replace(value, **changes)
    return value
