"""Operating an output from afar: one closure that the receiver itself ends, sent at most once.

Limits of this file are those of sound practice for powered gates (our choice where no source is named). Whether an
operation may be sent is decided by `watch.operating`, in the moment in which its turn comes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.domain.gate import Contact

__all__ = [
    "MOMENTARY_MOST_S",
    "OLDEST_S",
    "OUTPUT_PAUSE_S",
    "TOKEN_MOST",
    "TOKEN_WINDOW_S",
    "WARNING_LEAST_S",
    "Operable",
    "Operation",
    "OperationState",
    "Warning",
    "names_a_stop",
]

#: An order older than this when its turn comes is dropped.
OLDEST_S = 5.0
#: One operation of an output in so long.
OUTPUT_PAUSE_S = 10.0
#: So many operations of one caller in `TOKEN_WINDOW_S`.
TOKEN_MOST = 6
TOKEN_WINDOW_S = 60.0
#: The longest closure of a momentary output; a timed one has its own on-time.
MOMENTARY_MOST_S = 10.0
#: Light and sound before an unattended gate moves: at least 5 s (16 CFR 1211.14).
WARNING_LEAST_S = 5.0

_STOP = re.compile(r"stop|emergency|not-?aus|not-?halt|arr[eê]t", re.IGNORECASE)


class OperationState(StrEnum):
    """How far an operation is. All but the first two are final."""

    WARNING = "warning"  # the warning output runs; nothing moves yet
    SENDING = "sending"  # at the line, or about to be
    DONE = "done"  # sent, and acknowledged by the receiver
    UNKNOWN = "unknown"  # sent, and not acknowledged: nobody knows whether it moved
    REFUSED = "refused"  # nothing was sent; `code` says why
    INTERRUPTED = "interrupted"  # the gateway stopped during the warning; nothing was sent afterwards


@dataclass(frozen=True, slots=True)
class Warning:
    """An output (light and sound) of the same receiver that works before the gate moves, and for how long."""

    output: int
    name: str
    seconds: float


@dataclass(frozen=True, slots=True)
class Operable:
    """An output that has a name. `allowed` is True where the settings allow operating it from afar.

    `gate` and `title` are empty for one that moves no gate; `safety` are the safety inputs of its gate.
    """

    receiver: str
    output: int
    name: str
    allowed: bool = False
    gate: str = ""
    title: str = ""
    safety: tuple[Contact, ...] = ()
    warning: Warning | None = None

    @property
    def is_stop(self) -> bool:
        """Whether it, its gate or what warns before it is named after a stop: never operated from afar."""
        return any(names_a_stop(text) for text in (self.name, self.gate, self.title, self.warning_name))

    @property
    def warning_name(self) -> str:
        """The output that works before it; empty without one."""
        return self.warning.name if self.warning else ""


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation from asked to ended.

    `seconds` None stands for the timed output's own on-time. `code`, `sentence` and `remedy` tell how it stands, for
    people. `last_s` is Clock.monotonic when something was last sent for it, in the run of the machine `boot_id`.
    """

    id: str
    receiver: str
    output: int
    name: str
    reason: str
    asked_by: str
    asked: datetime
    state: OperationState
    seconds: float | None = None
    code: str = ""
    sentence: str = ""
    remedy: str = ""
    ended: datetime | None = None
    boot_id: str = ""
    last_s: float = 0.0


def names_a_stop(text: str) -> bool:
    """Whether a name speaks of stopping: "stop", "emergency stop", in any writing. Rather once too often."""
    return bool(_STOP.search(text))
