"""Sentences for people: what a condition says when it is raised, and where a gate stands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from gateway.domain.condition import ConditionKind
from gateway.domain.gate import Gate, GatePosition
from gateway.domain.places import place_words
from gateway.domain.transmitter import write_serial
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.rules import Verdict

__all__ = ["condition_sentence", "duration_words", "gate_sentence", "since_words"]


def duration_words(seconds: float) -> str:
    """A length of time as people say it."""
    for unit_s, unit in ((86_400, "day"), (3600, "hour"), (60, "minute")):
        if seconds >= 2 * unit_s or seconds == unit_s:
            count = round(seconds / unit_s)
            return f"{count} {unit}{'' if count == 1 else 's'}"
    return f"{seconds:g} s"


def since_words(since: datetime, now: datetime, zone: ZoneInfo) -> str:
    """A time of today as hours and minutes, else with its day; in the site's zone."""
    local, today = since.astimezone(zone), now.astimezone(zone).date()
    return f"{local:%H:%M}" if local.date() == today else f"{local.day} {local:%B %H:%M}"


_POSITIONS = {GatePosition.SHUT: "is shut", GatePosition.OPEN: "is open", GatePosition.MOVING: "is moving"}


def gate_sentence(gate: Gate, position: GatePosition, since: str, reason: str) -> str:
    """Where a gate stands, in one sentence. `since` is in words and may be empty."""
    if position is GatePosition.UNKNOWN:
        return f"Where {gate.title} stands is unknown: {reason}"
    return f"{gate.title} {_POSITIONS[position]}{' since ' if since else ''}{since}."


def condition_sentence(premises: Premises, verdict: Verdict) -> str:
    """What a condition says, in one sentence."""
    return _SENTENCES[verdict.kind](premises, verdict)


def _left_open(premises: Premises, verdict: Verdict) -> str:
    limit = premises.gate_by_name[verdict.gate].stay_open_limit_s or 0
    return f"{premises.title_of(verdict.gate)} is open for longer than {duration_words(limit)}."


def _input(premises: Premises, verdict: Verdict) -> str:
    contact = premises.contact_by_key.get(verdict.subject)
    name = f" ({contact.name})" if contact and contact.name else ""
    place = f" of {premises.title_of(verdict.gate)}" if verdict.gate else f" at {place_words(verdict.receiver)}"
    return f"input {verdict.input}{name}{place}"


def _at(verdict: Verdict) -> str:
    return place_words(verdict.receiver)


def _serial(verdict: Verdict) -> str:
    return write_serial(verdict.serial or 0)


def _gate_output(premises: Premises, verdict: Verdict, what: str) -> str:
    title = premises.title_of(verdict.gate)
    travel = duration_words(premises.gate_by_name[verdict.gate].travel_s)
    return f"Output {verdict.output} worked and {title} did not {what} within {travel}."


_SENTENCES: Mapping[ConditionKind, Callable[[Premises, Verdict], str]] = {
    ConditionKind.LEFT_OPEN: _left_open,
    ConditionKind.DID_NOT_OPEN: lambda p, v: _gate_output(p, v, "open"),
    ConditionKind.DID_NOT_CLOSE: lambda p, v: _gate_output(p, v, "shut"),
    ConditionKind.OPENED_WITHOUT_COMMAND: lambda p, v: (
        f"{p.title_of(v.gate)} opened with no transmitter, exit or command input before."
    ),
    ConditionKind.CONTACTS_CONTRADICT: lambda p, v: (
        f"The contacts of {p.title_of(v.gate)} say shut and open at once; one of them is stuck or displaced."
    ),
    ConditionKind.CHATTER: lambda p, v: f"A contact changes all the time: {_input(p, v)}.",
    ConditionKind.TAMPER: lambda p, v: f"A housing is open: {_input(p, v)}.",
    ConditionKind.SAFETY_VIOLATED: lambda p, v: (
        f"A safety input is violated for longer than {duration_words(p.limits.safety_s)}: {_input(p, v)}."
    ),
    ConditionKind.POWER_LOST: lambda p, v: f"The mains is lost: {_input(p, v)}.",
    ConditionKind.RECEIVER_SILENT: lambda p, v: f"The receiver {_at(v)} can't be reached.",
    ConditionKind.LINE_NOISY: lambda p, v: (
        f"{v.count} % of the frames on line {v.line} are damaged; look at its cable, screen and termination."
    ),
    ConditionKind.UNKNOWN_REPEATED: lambda p, v: (
        f"The unknown transmitter {_serial(v)} was heard {v.count} times at {_at(v)}."
    ),
    ConditionKind.REVOKED_USED: lambda p, v: f"The revoked transmitter {_serial(v)} was used at {_at(v)}.",
    ConditionKind.TRANSMITTER_UNUSED: lambda p, v: f"Transmitter {_serial(v)} was not heard for {v.count} days.",
    ConditionKind.BATTERY_LOW: lambda p, v: (
        f"The battery of transmitter {_serial(v)} is low, heard at {_at(v)}; have it changed."
    ),
    ConditionKind.SERVICE_DUE: lambda p, v: (
        f"{p.title_of(v.gate)} has opened {v.count} times since the last service; have it serviced."
    ),
    ConditionKind.BOARD_RESET: lambda p, v: (
        f"The receiver {_at(v)} was cleared by a reset that did not come from here. Nothing is given back by itself."
    ),
    ConditionKind.DRIFT_OPEN: lambda p, v: (
        f"{'1 transmitter was' if v.count == 1 else f'{v.count} transmitters were'} "
        f"changed by other hands at {_at(v)} and nobody has looked at it yet."
    ),
    ConditionKind.CLOCK_UNTRUSTED: lambda p, v: (
        "The gateway's clock is not known to be right; nothing is granted or ended by date until it is."
    ),
}
