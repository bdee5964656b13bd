"""Conditions: what is derived from events and needs a person, raised once and cleared once.

`CONDITIONS` is the one table of them; docs/conditions.md is compared with it. The alarm codes are those of ANSI/SIA
DC-05 that fit best; some share one, two have none, and the account's station has the last word.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

__all__ = [
    "CONDITIONS",
    "Acknowledgement",
    "Condition",
    "ConditionKind",
    "ConditionLimits",
    "Described",
    "Ending",
    "Weight",
]


class ConditionKind(StrEnum):
    """Every condition there is."""

    LEFT_OPEN = "left-open"
    DID_NOT_OPEN = "did-not-open"
    DID_NOT_CLOSE = "did-not-close"
    OPENED_WITHOUT_COMMAND = "opened-without-command"
    CONTACTS_CONTRADICT = "contacts-contradict"
    CHATTER = "chatter"
    TAMPER = "tamper"
    SAFETY_VIOLATED = "safety-violated"
    POWER_LOST = "power-lost"
    RECEIVER_SILENT = "receiver-silent"
    LINE_NOISY = "line-noisy"
    UNKNOWN_REPEATED = "unknown-repeated"
    REVOKED_USED = "revoked-used"
    TRANSMITTER_UNUSED = "transmitter-unused"
    BATTERY_LOW = "battery-low"
    SERVICE_DUE = "service-due"
    BOARD_RESET = "board-reset"
    DRIFT_OPEN = "drift-open"
    CLOCK_UNTRUSTED = "clock-untrusted"


class Weight(StrEnum):
    """How much it presses: an alarm now, trouble today, a notice this month."""

    ALARM = "alarm"
    TROUBLE = "trouble"
    NOTICE = "notice"


class Ending(StrEnum):
    """What clears it: the state ends, or somebody acknowledges what happened."""

    BY_ITSELF = "by-itself"
    ACKNOWLEDGED = "acknowledged"


@dataclass(frozen=True, slots=True)
class Described:
    """One row of the table. `setting` names what it goes by; `alarm_code` is that of DC-05 without its qualifier."""

    meaning: str
    weight: Weight
    ending: Ending
    setting: str
    alarm_code: int | None


def _row(
    meaning: str, weight: Weight, setting: str, alarm_code: int | None, ending: Ending = Ending.BY_ITSELF
) -> Described:
    return Described(meaning, weight, ending, setting, alarm_code)


_ALARM, _TROUBLE, _NOTICE, _ACK = Weight.ALARM, Weight.TROUBLE, Weight.NOTICE, Ending.ACKNOWLEDGED

CONDITIONS: Mapping[ConditionKind, Described] = MappingProxyType(
    {
        ConditionKind.LEFT_OPEN: _row("a gate stands open beyond its limit", _ALARM, "stay_open_limit_s", 426),
        ConditionKind.DID_NOT_OPEN: _row(
            "an output worked and the gate did not open in its travel time", _TROUBLE, "travel_s", 432
        ),
        ConditionKind.DID_NOT_CLOSE: _row(
            "an output worked and the open gate did not shut in its travel time", _TROUBLE, "travel_s", 432
        ),
        ConditionKind.OPENED_WITHOUT_COMMAND: _row(
            "a gate opened with no transmitter, exit or command input before", _ALARM, "command_window_s", 423
        ),
        ConditionKind.CONTACTS_CONTRADICT: _row(
            "a gate's contacts say shut and open at once", _TROUBLE, "contradict_s", 427
        ),
        ConditionKind.CHATTER: _row("a contact changes all the time", _TROUBLE, "chatter_changes", 427),
        ConditionKind.TAMPER: _row("a housing is open", _ALARM, "tamper_s", 137),
        ConditionKind.SAFETY_VIOLATED: _row("a safety input is violated for long", _TROUBLE, "safety_s", 427),
        ConditionKind.POWER_LOST: _row("the mains is lost", _TROUBLE, "power_s", 301),
        ConditionKind.RECEIVER_SILENT: _row("a receiver can't be reached", _TROUBLE, "silent_s", 330),
        ConditionKind.LINE_NOISY: _row("many frames on a line are damaged", _NOTICE, "noise_percent", 330),
        ConditionKind.UNKNOWN_REPEATED: _row(
            "the same unknown transmitter was heard again and again", _NOTICE, "unknown_presses", 421, _ACK
        ),
        ConditionKind.REVOKED_USED: _row("a revoked transmitter was used", _ALARM, "", 421, _ACK),
        ConditionKind.TRANSMITTER_UNUSED: _row(
            "a transmitter was not heard for many days", _NOTICE, "unused_days", None
        ),
        ConditionKind.BATTERY_LOW: _row("a transmitter's battery is low", _NOTICE, "", 384, _ACK),
        ConditionKind.SERVICE_DUE: _row(
            "a gate has made its cycles since the last service", _NOTICE, "service_cycles", None, _ACK
        ),
        ConditionKind.BOARD_RESET: _row(
            "a receiver was cleared by a reset that did not come from here; nothing is given back by itself",
            _ALARM,
            "",
            306,
            _ACK,
        ),
        ConditionKind.DRIFT_OPEN: _row(
            "a receiver was changed by other hands and nobody has looked at it", _NOTICE, "", 306, _ACK
        ),
        ConditionKind.CLOCK_UNTRUSTED: _row("the gateway's clock is not known to be right", _TROUBLE, "clock_s", 626),
    }
)


@dataclass(frozen=True, slots=True)
class ConditionLimits:
    """Durations and counts that conditions go by; the gate's own stand with the gate. All defaults are our choice."""

    travel_margin_s: float = 3.0
    command_window_s: float = 30.0
    contradict_s: float = 5.0
    chatter_changes: int = 10
    chatter_quiet_s: float = 90.0
    tamper_s: float = 0.0
    safety_s: float = 60.0
    power_s: float = 10.0
    silent_s: float = 60.0
    noise_percent: float = 5.0
    noise_frames: int = 200
    noise_window_s: float = 300.0
    unknown_presses: int = 3
    unknown_window_s: float = 600.0
    unused_days: int | None = None
    clock_s: float = 3600.0


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """Who has taken note, what they wrote, and when."""

    name: str
    note: str
    time: datetime


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition from raised to cleared.

    `id` is given out once, `<epoch>-c<number>`; `key` names kind and subject and is the same each time it comes back.
    `since` is when what it tells of began, `raised` when it was told; `cleared` is None while it is open.
    `receiver`, `gate`, `line` are empty and the numbers None where they don't apply. `visit` marks what was raised
    while people worked there.
    """

    id: str
    key: str
    kind: ConditionKind
    sentence: str
    since: datetime
    raised: datetime
    receiver: str = ""
    gate: str = ""
    line: str = ""
    input: int | None = None
    output: int | None = None
    serial: int | None = None
    count: int | None = None
    visit: bool = False
    cleared: datetime | None = None
    acknowledged: Acknowledgement | None = None
