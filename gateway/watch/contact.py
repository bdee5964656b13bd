"""The link to one receiver: from typed errors to the states and events that people see.

A small state machine without time of its own. A lost port is told at once, silence after three failed polls, a
receiver that is back at its first answer. While the link is lost the receiver is probed with a pause that grows
from 1 to 30 s; a missing port costs the line nothing and is looked for every second.

A refused password and a strange receiver are states of a link that works: status is polled on.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from gateway.domain.events import EventDraft, EventName
from gateway.domain.live import LinkState
from gateway.errors import GatepostError, LinkLost, PortUnavailable, WrongReceiver

__all__ = ["FAILED_POLLS", "LONGEST_PROBE_S", "Contact", "Hindrance"]

FAILED_POLLS = 3
FIRST_PROBE_S = 1.0
LONGEST_PROBE_S = 30.0
PORT_LOOK_S = 1.0
#: At the start a line needs a moment to open its port; our choice, under the 2 s within which a loss is told.
START_GRACE_S = 1.5

_DOWN = frozenset({LinkState.SILENT, LinkState.PORT_LOST, LinkState.PORT_BUSY, LinkState.WRONG_RECEIVER})
_PORT = frozenset({LinkState.PORT_LOST, LinkState.PORT_BUSY})


@dataclass(frozen=True, slots=True)
class Hindrance:
    """Why a receiver that answers is not fully of use: the state to show and its two sentences."""

    state: LinkState
    problem: str
    remedy: str


class Contact:
    """Link state of one receiver. `now` is wall time, `at` monotonic seconds."""

    def __init__(self, receiver: str, now: datetime, at: float) -> None:
        self._receiver = receiver
        self._started_at = at
        self._failures = 0
        self._down = False
        self._down_at = at
        self._told_down = False
        self._told_at = at
        self._probe_s = FIRST_PROBE_S
        self.state = LinkState.CONNECTING
        self.since = now
        self.problem = ""
        self.remedy = ""

    @property
    def down(self) -> bool:
        """True while the receiver can't be read."""
        return self._down

    def answered(self, now: datetime, hindrance: Hindrance | None = None) -> None:
        """A poll succeeded."""
        self._failures = 0
        self._down = False
        self._probe_s = FIRST_PROBE_S
        if hindrance is None:
            self._enter(LinkState.ONLINE, now, "", "")
        else:
            self._enter(hindrance.state, now, hindrance.problem, hindrance.remedy)

    def failed(self, error: GatepostError, now: datetime, at: float) -> None:
        """A poll failed."""
        state = _state_of(error)
        self._failures += 1
        if state in _PORT:
            if self.state is LinkState.CONNECTING and at - self._started_at < START_GRACE_S:
                return
        elif not self._down and self._failures < FAILED_POLLS:
            return
        if not self._down:
            self._down, self._down_at = True, at
        self._enter(state, now, error.message, error.remedy)

    def pause_s(self) -> float | None:
        """How long to wait before the next probe; None while polls go on at their own rate."""
        if not self._down:
            return None
        if self.state in _PORT:
            self._probe_s = FIRST_PROBE_S
            return PORT_LOOK_S
        pause, self._probe_s = self._probe_s, min(self._probe_s * 2, LONGEST_PROBE_S)
        return pause

    def news(self, at: float) -> EventDraft | None:
        """The event that is due, once; None when what was last told is still so."""
        if self._down == self._told_down:
            return None
        self._told_down = self._down
        if self._down:
            data = {"state": self.state.value, "problem": self.problem, "remedy": self.remedy}
            return EventDraft(EventName.LINK_LOST, self._receiver, data)
        return EventDraft(EventName.LINK_RESTORED, self._receiver, {"lost_s": round(at - self._down_at, 1)})

    def _enter(self, state: LinkState, now: datetime, problem: str, remedy: str) -> None:
        if state is not self.state:
            self.state, self.since = state, now
        self.problem, self.remedy = problem, remedy


def _state_of(error: GatepostError) -> LinkState:
    if isinstance(error, PortUnavailable):
        return LinkState.PORT_BUSY if error.code == "port-busy" else LinkState.PORT_LOST
    if isinstance(error, LinkLost):
        return LinkState.PORT_LOST
    if isinstance(error, WrongReceiver):
        return LinkState.WRONG_RECEIVER
    return LinkState.SILENT
