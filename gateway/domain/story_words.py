"""The sentences of the timeline, one per event's name.

Whole sentences in plain words, without times: those stand beside. A field that is not there (hidden, or of another
version) leaves a shorter sentence, never a hole.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gateway.domain.events import EventName
from gateway.domain.gate import Contact, InputRole
from gateway.domain.places import place_words
from gateway.domain.settings_words import settings_words

__all__ = ["Told", "tell_words"]


@dataclass(frozen=True, slots=True)
class Told:
    """What a sentence is made of. `titles` are those of the gates that it is about, `contact` their input."""

    receiver: str
    data: Mapping[str, Any]
    titles: tuple[str, ...] = ()
    contact: Contact | None = None

    def text(self, key: str, default: str = "") -> str:
        """A field as text; the default when it is missing or empty."""
        value = self.data.get(key)
        return default if value is None or value == "" else str(value)

    @property
    def place(self) -> str:
        """The receiver, as people write a place."""
        return place_words(self.receiver)

    @property
    def gates(self) -> str:
        """The gates' titles, as people list them."""
        return _list(self.titles)


def tell_words(name: EventName, told: Told) -> str:
    """One sentence; an event without words of its own is told by its name."""
    make = _SENTENCES.get(name)
    words = make(told) if make else f"{name.value.replace('.', ' ').replace('_', ' ')}."
    return words[:1].upper() + words[1:]


def _list(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def _stop(text: str) -> str:
    return text if not text or text[-1] in ".!?" else text + "."


def _also(told: Told, key: str) -> str:
    text = told.text(key)
    return f": {_stop(text)}" if text else "."


# --- use ---


def _works(told: Told) -> str:
    if told.titles:
        return told.gates
    numbers, names = told.data.get("outputs") or (), told.data.get("output_names") or ()
    padded = [*names, *[""] * (len(numbers) - len(names))]
    return _list([name or f"output {number}" for number, name in zip(numbers, padded, strict=False)])


def _heard(told: Told) -> str:
    serial = told.text("serial", "?")
    who = told.text("holder") or (f"transmitter {serial}" if told.data.get("known") else "")
    position = f" (position {told.text('position')})" if told.text("position") else ""
    if told.data.get("enrolling"):
        return f"{who or f'an unknown transmitter, {serial},'} was heard while the receiver listened{position}."
    if not who:
        return f"an unknown transmitter, {serial}, was pressed at {told.place}{position}; it works nothing."
    works = _works(told)
    used = f"used {works}" if works else f"was heard at {told.place}, and works nothing there"
    return f"{who} {used}{position}."


def _operated(told: Told) -> str:
    what = told.gates or told.text("name") or f"output {told.text('output', '?')}"
    asked = told.text("asked_by", "somebody")
    moved = " Nobody knows whether it moved." if told.data.get("outcome") == "unknown" else ""
    return f"{what} was operated from afar by {asked}{_also(told, 'reason')}{moved}"


# --- movement ---

_CONTACTS: Mapping[InputRole, tuple[str, str]] = {  # violated, normal
    InputRole.CLOSED: ("{gate} left its shut position.", "{gate} is shut."),
    InputRole.OPEN: ("{gate} is fully open.", "{gate} left its open position."),
    InputRole.TAMPER: ("a housing of {gate} was opened.", "the housing of {gate} is shut again."),
    InputRole.SAFETY: ("something is in the way of {gate}.", "the way of {gate} is clear again."),
    InputRole.EXIT: ("the exit of {gate} asked it to open.", "the exit of {gate} is at rest."),
    InputRole.COMMAND: ("another control worked {gate}.", "the other control of {gate} is at rest."),
    InputRole.POWER: ("the mains of {gate} is lost.", "the mains of {gate} is back."),
}


def _input(told: Told) -> str:
    violated = bool(told.data.get("violated"))
    changes = told.data.get("changes")
    often = f" It changed {changes} times." if isinstance(changes, int) and changes > 1 else ""
    if told.contact is not None and (words := _CONTACTS.get(told.contact.role)):
        return words[0 if violated else 1].format(gate=told.gates) + often
    name = told.text("name") or f"input {told.text('input', '?')}"
    return f"{name} at {told.place} is {'violated' if violated else 'normal again'}.{often}"


_ORIGINS = {"radio": "by a transmitter", "line": "on request", "board": "at the board"}


def _output(told: Told) -> str:
    """On and off: that a contact closes would be read as a gate that does."""
    name = f"output {told.text('name') or told.text('output', '?')}"
    where = f"of {told.gates}" if told.titles else f"at {told.place}"
    origin = _ORIGINS.get(told.text("origin"), "")
    how = f", {origin}" if origin and told.data.get("closed") else ""
    return f"{name} {where} was switched {'on' if told.data.get('closed') else 'off'}{how}."


def _mode(told: Told) -> str:
    output = told.text("name") or told.text("output", "?")
    return f"output {output} at {told.place} was set to {told.text('mode', '?')} on the board."


def _restarted(told: Told) -> str:
    missing = "; what happened meanwhile may be missing" if told.data.get("events_may_be_missing") else ""
    return f"{told.place} restarted{missing}."


# --- access ---


def _changes(told: Told) -> str:
    words = (("added", "added"), ("changed", "changed"), ("removed", "removed"))
    parts = [f"{told.data[key]} {word}" for key, word in words if told.data.get(key)]
    return _list(parts)


def _applied(told: Told) -> str:
    done = _changes(told) or "nothing had to be written"
    return f"{told.place} was brought up to date and proven: {done}."


def _slots(told: Told) -> str:
    count = len(told.data.get("slots") or ())
    by = {"board": "at the board", "line": "by the gateway"}.get(told.text("origin"), "")
    return f"{count} transmitter{'' if count == 1 else 's'} changed in the memory of {told.place} {by}".strip() + "."


def _drift(told: Told) -> str:
    if told.data.get("cleared"):
        return f"{told.place} was cleared by a reset that did not come from here."
    found = told.data.get("drift") or told.data.get("slots") or ()
    origins = {str(each.get("origin")) for each in found}
    how = {"board": "at the board", "line": "over the line, by another tool"}.get(
        next(iter(origins)) if len(origins) == 1 else "", "by other hands"
    )
    return f"{told.place} was changed {how}: {len(found)} transmitter{'' if len(found) == 1 else 's'}."


def _replaced(told: Told) -> str:
    if told.data.get("reason") == "returned":
        return f"{told.place}: the known receiver answers again."
    answers = told.text("answers", "one without a serial")
    if told.data.get("confirmed"):
        return f"{told.place}: the receiver {answers} was confirmed as the right one."
    return f"{told.place}: another receiver answers, {answers} in the place of {told.text('known', '?')}."


def _list_or_roster(told: Told) -> str:
    return "the revocation list" if told.data.get("list") == "revocations" else "the roster"


def _fetched(told: Told) -> str:
    if told.data.get("list") == "revocations":
        return "the revocation list was followed."
    return f"a roster with {told.text('transmitters', '?')} transmitters is in force."


def _settings(told: Told) -> str:
    return f"{told.place}: {'; '.join(settings_words(told.data))}."


_DECIDED = {
    "adopt": "stays",
    "remove": "is put right",
    "restore": "is given back",
    "revoke": "must not work from now on",
}


def _drift_decided(told: Told) -> str:
    what = _DECIDED.get(told.text("decision"), told.text("decision", "is decided"))
    by = told.text("asked_by", "somebody")
    return f"what was changed at {told.place} for transmitter {told.text('serial', '?')} {what}; decided by {by}."


def _drift_settled(told: Told) -> str:
    return f"nothing is left of what was changed at {told.place} for transmitter {told.text('serial', '?')}."


def _work_place(told: Told) -> str:
    return place_words(told.text("of")) or "the whole site"


def _minutes(told: Told) -> str:
    count = told.text("minutes", "?")
    return f"{count} minute" if count == "1" else f"{count} minutes"


def _visit_ended(told: Told) -> str:
    count = told.text("changed_count", "0")
    things = {"0": "nothing", "1": "1 thing"}.get(count, f"{count} things")
    return f"work at {_work_place(told)} is over; {things} changed meanwhile."


_SENTENCES: Mapping[EventName, Callable[[Told], str]] = {
    EventName.TRANSMITTER_HEARD: _heard,
    EventName.OUTPUT_OPERATED: _operated,
    EventName.INPUT_CHANGED: _input,
    EventName.OUTPUT_CHANGED: _output,
    EventName.OUTPUT_MODE_CHANGED: _mode,
    EventName.SETTINGS_CHANGED: _settings,
    EventName.LINK_LOST: lambda t: f"{t.place} can't be reached{_also(t, 'problem')}",
    EventName.LINK_RESTORED: lambda t: f"{t.place} answers again.",
    EventName.RECEIVER_RESTARTED: _restarted,
    EventName.RECEIVER_REPLACED: _replaced,
    EventName.RING_OVERRUN: lambda t: f"{t.text('lost', 'some')} events of {t.place} were lost before they were read.",
    EventName.SLOT_CHANGED: _slots,
    EventName.DRIFT_FOUND: _drift,
    EventName.DRIFT_DECIDED: _drift_decided,
    EventName.DRIFT_SETTLED: _drift_settled,
    EventName.ENROLMENT_CHANGED: lambda t: (
        f"enrolment at {t.place}: {', '.join(filter(None, (t.text('state', 'changed'), t.text('serial'))))}."
    ),
    EventName.ROSTER_FETCHED: _fetched,
    EventName.ROSTER_REFUSED: lambda t: f"{_list_or_roster(t)} was refused{_also(t, 'problem')}",
    EventName.ROSTER_UNREACHABLE: lambda t: f"{_list_or_roster(t)} can't be fetched{_also(t, 'problem')}",
    EventName.ROSTER_PAUSED: lambda t: f"the roster waits at {t.place} until somebody approves.",
    EventName.ROSTER_RESUMED: lambda t: f"the roster waits no longer at {t.place}.",
    EventName.PLAN_HELD: lambda t: f"changes for {t.place} wait for approval{_also(t, 'hold')}",
    EventName.PLAN_REFUSED: lambda t: f"changes for {t.place} were refused{_also(t, 'reason')}",
    EventName.PLAN_APPLIED: _applied,
    EventName.PLAN_FAILED: lambda t: f"{t.place} could not be brought up to date{_also(t, 'problem')}",
    EventName.REVOCATION_PENDING: lambda t: f"transmitter {t.text('serial', '?')} was revoked{_also(t, 'reason')}",
    EventName.REVOCATION_APPLIED: lambda t: (
        f"transmitter {t.text('serial', '?')} is gone from {t.place}, "
        f"{'by hand, not proven' if t.data.get('by_hand') else 'proven'}."
    ),
    EventName.REVOCATION_LIFTED: lambda t: (
        f"the revocation of transmitter {t.text('serial', '?')} was lifted{_also(t, 'reason')}"
    ),
    EventName.SNAPSHOT_TAKEN: lambda t: f"a snapshot of {t.place} was taken.",
    EventName.CONDITION_RAISED: lambda t: _stop(t.text("sentence") or t.text("condition")),
    EventName.CONDITION_CLEARED: lambda t: f"no longer: {_stop(t.text('sentence') or t.text('condition'))}",
    EventName.CONDITION_ACKNOWLEDGED: lambda t: (
        f"{t.text('name', 'somebody')} took note: {_stop(t.text('sentence') or t.text('condition'))}"
        + (f" {_stop(t.text('note'))}" if t.text("note") else "")
    ),
    EventName.CLOCK_UNTRUSTED: lambda _: "the gateway's clock is not known to be right.",
    EventName.CLOCK_TRUSTED: lambda _: "the gateway's clock is known to be right again.",
    EventName.JOURNAL_RESTARTED: lambda _: "the list of events began anew.",
    EventName.VISIT_STARTED: lambda t: f"work is in progress at {_work_place(t)} for {_minutes(t)}{_also(t, 'reason')}",
    EventName.VISIT_ENDED: _visit_ended,
    EventName.OUTLET_FAILING: lambda t: (
        f"events can't be delivered to {t.text('outlet', 'an outlet')}{_also(t, 'problem')}"
    ),
    EventName.OUTLET_RECOVERED: lambda t: f"events are delivered to {t.text('outlet', 'an outlet')} again.",
    EventName.OUTLET_SET_ASIDE: lambda t: f"{t.text('outlet', 'an outlet')} refuses an event{_also(t, 'problem')}",
    EventName.JOURNAL_RESUMED: lambda t: (
        f"for {t.text('failed_s', '?')} s nothing could be written down{_also(t, 'problem')}"
    ),
    EventName.AUDIT_SEALED: lambda t: f"the audit stands at row {t.text('number', '?')}; its seal was sent out.",
    EventName.GATEWAY_STARTED: lambda _: "the gateway started.",
    EventName.GATEWAY_STOPPED: lambda _: "the gateway was stopped.",
}
