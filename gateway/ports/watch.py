"""What is going on now: states, gates, conditions, why; implemented by `watch`, `line` and `system`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.condition import Condition
from gateway.domain.gate import GateState
from gateway.domain.live import LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.urgency import Urgency
from gateway.domain.why import Why
from gateway.ports.sync import Progress

__all__ = [
    "Conditions",
    "Gates",
    "LineCount",
    "LineCounts",
    "LiveView",
    "MirrorKeeper",
    "Trust",
    "Whys",
]


class Trust(Protocol):
    """Whether wall time is known to be right."""

    @property
    def trusted(self) -> bool: ...


class LiveView(Protocol):
    """The state of every receiver at this moment (implemented by watch/)."""

    def receivers(self) -> tuple[LiveReceiver, ...]: ...

    def receiver(self, name: str) -> LiveReceiver:
        """Raises NotFound."""
        ...


class MirrorKeeper(Protocol):
    """Brings one receiver's mirror up to what it holds (implemented by watch/)."""

    async def refresh(
        self, receiver: str, *, urgency: Urgency = Urgency.BULK, progress: Progress | None = None
    ) -> Mirror:
        """Revision and block CRCs decide what is read. What changed is journaled together with the mirror.

        Returns a mirror that is proven equal to the receiver at its `revision`. Raises LineError, PeerError,
        Refused with `receiver-unconfirmed` when another receiver answers.
        """
        ...

    async def record(
        self, receiver: str, slots: Mapping[int, Slot | None], revision: int, crcs: tuple[int, ...]
    ) -> Mirror:
        """What our own, proven write has put there (None: freed). Journaled as one `slot.changed` per block."""
        ...

    async def confirm(self, receiver: str) -> None:
        """Somebody says that the receiver which answers now is the right one."""
        ...


class Gates(Protocol):
    """The gates at this moment (implemented by watch/)."""

    def gates(self) -> tuple[GateState, ...]:
        """All of them, in the order of the settings."""
        ...

    def gate(self, name: str) -> GateState:
        """Raises NotFound."""
        ...


class Conditions(Protocol):
    """What needs a person (implemented by watch/)."""

    def open(self) -> tuple[Condition, ...]:
        """Raised and not cleared, newest first."""
        ...

    def recent(self) -> tuple[Condition, ...]:
        """Cleared a while ago at most, newest first."""
        ...

    async def acknowledge(self, condition_id: str, *, name: str, note: str) -> Condition:
        """Somebody has taken note; ends those that end by that. Raises NotFound, StoreUnavailable, and Refused with
        `condition-cleared` or `acknowledged-already`."""
        ...


class Whys(Protocol):
    """Why does it not open? (implemented by watch/)"""

    async def explain(self, holder: str) -> tuple[Why, ...]:
        """One answer for each transmitter of a holder, given by name or by serial. Raises NotFound."""
        ...


@dataclass(frozen=True, slots=True)
class LineCount:
    """Requests sent on a line, and exchanges spoilt by noise, both since the start."""

    sent: int
    spoilt: int


class LineCounts(Protocol):
    """How well frames come through (implemented by daemon, over line/)."""

    def counts(self) -> Mapping[str, LineCount]:
        """By name of the line."""
        ...
