"""Taking one event into the state: what it tells of contacts, gates, transmitters and receivers.

Pure. Nothing is raised here; what the facts amount to is for `rules`. An event that is `late` is history: it is taken
in as a fact, but it makes no gate answer for an output that worked long ago.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any

from gateway.domain.condition import ConditionKind
from gateway.domain.events import Event, EventName
from gateway.domain.gate import Closing, Contact, Gate, InputRole
from gateway.domain.receiver import Battery
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.state import (
    ContactFacts,
    Expectation,
    GateFacts,
    Happening,
    Moment,
    State,
)

__all__ = ["EXPLAINED_AFTER_S", "SEEN", "Seen", "see", "see_level"]

#: A command may be told this much after the movement: status polls have no order. Our choice, ten polls.
EXPLAINED_AFTER_S = 2.0
#: How many unknown transmitters are remembered; the one heard longest ago is forgotten. Our choice.
_MOST_UNKNOWN = 200
_ENDS = (InputRole.CLOSED, InputRole.OPEN)


@dataclass(frozen=True, slots=True)
class Seen:
    """One event as it is taken in. `revoked` are the serials revoked now."""

    event: Event
    moment: Moment
    late: bool = False
    revoked: Collection[int] = ()

    @property
    def data(self) -> Mapping[str, Any]:
        return self.event.data


def see(premises: Premises, state: State, seen: Seen) -> State:
    """The state after an event."""
    handler = _HANDLERS.get(seen.event.name)
    state = handler(premises, state, seen) if handler else state
    return replace(state, after=max(state.after, seen.event.id.number))


def see_level(premises: Premises, state: State, key: str, violated: bool, moment: Moment) -> State:
    """A contact's level as the first poll shows it. It is no change, and since when it is so isn't known."""
    if key in state.contacts or key not in premises.contact_by_key:
        return state
    state = replace(state, contacts={**state.contacts, key: ContactFacts(violated)})
    contact = premises.contact_by_key[key]
    gate = premises.gate_by_name.get(contact.gate)
    if gate is None or contact.role not in _ENDS:
        return state
    facts, away = state.gate(gate.name), _is_away(gate, state)
    return state.with_gate(gate.name, replace(facts, away=away, opened=moment if away else None))


# --- contacts ---


def _input_changed(premises: Premises, state: State, seen: Seen) -> State:
    key = f"{seen.event.receiver}/{seen.data['input']}"
    violated, changes = bool(seen.data["violated"]), int(seen.data.get("changes", 1))
    if changes == 1:  # it changed, so it was the other way round before; does nothing when that is known
        state = see_level(premises, state, key, not violated, seen.moment)
    before = state.contacts.get(key)
    chatters = changes >= premises.limits.chatter_changes
    since = before.since if before and before.violated == violated and not chatters else seen.moment
    chatter = seen.moment if chatters else before.chatter if before else None
    state = replace(state, contacts={**state.contacts, key: ContactFacts(violated, since, chatter)})
    contact = premises.contact_by_key.get(key)
    gate = premises.gate_by_name.get(contact.gate) if contact else None
    if contact is None or gate is None:
        return state
    if contact.role in _ENDS:
        return _gate_moved(premises, state, gate, contact, seen)
    if contact.role in (InputRole.EXIT, InputRole.COMMAND) and violated:
        return state.with_gate(gate.name, _commanded(state.gate(gate.name), seen.moment))
    return state


def _gate_moved(premises: Premises, state: State, gate: Gate, contact: Contact, seen: Seen) -> State:
    facts, away = state.gate(gate.name), _is_away(gate, state)
    if away == facts.away:
        leaves_open = contact.role is InputRole.OPEN and away and not seen.data["violated"]
        return state.with_gate(gate.name, replace(facts, moved=seen.moment)) if leaves_open else state
    if away is None:
        return state.with_gate(gate.name, replace(facts, away=None, opened=None, moved=None, unexplained=None))
    expects = facts.expects
    if expects is not None and expects.opening == away:
        expects = None
    if not away:
        return state.with_gate(
            gate.name,
            replace(facts, away=away, opened=None, moved=None, unexplained=None, expects=expects),
        )
    first = facts.away is None
    condensed = int(seen.data.get("changes", 1)) > 1
    explained = first or condensed or _is_explained(premises, state, gate, facts, seen)
    return state.with_gate(
        gate.name,
        replace(
            facts,
            away=True,
            opened=seen.moment,
            moved=seen.moment,
            unexplained=None if explained else seen.moment,
            expects=expects,
            cycles=facts.cycles + (0 if first else 1),
        ),
    )


def _is_explained(premises: Premises, state: State, gate: Gate, facts: GateFacts, seen: Seen) -> bool:
    """Whether something asked the gate to open; in doubt yes, for what asked may be among what was lost."""
    at, window_s = seen.moment.at, premises.limits.command_window_s
    if facts.command is not None and at - facts.command.at <= window_s:
        return True
    lost = [state.doubt[receiver] for receiver in gate.receivers if receiver in state.doubt]
    return any(at - moment.at <= window_s for moment in lost)


def _is_away(gate: Gate, state: State) -> bool | None:
    """Whether a gate is not shut, as far as its contacts say."""
    closed, opened = gate.contacts_of(InputRole.CLOSED), gate.contacts_of(InputRole.OPEN)
    known = [state.contacts.get(contact.key) for contact in closed or opened]
    levels = [facts.violated for facts in known if facts is not None]
    return any(levels) if levels and len(levels) == len(known) else None


# --- what asks a gate to move ---


def _output_changed(premises: Premises, state: State, seen: Seen) -> State:
    if not seen.data["closed"]:
        return state
    for gate in premises.gates_moved_by(seen.event.receiver, seen.data["output"]):
        facts = _commanded(state.gate(gate.name), seen.moment)
        state = state.with_gate(gate.name, _worked(gate, facts, seen))
    return state


def _worked(gate: Gate, facts: GateFacts, seen: Seen) -> GateFacts:
    """After an output worked: what the gate has to do now, if that can be told."""
    moment, was_moved = seen.moment, facts.moved
    facts = replace(facts, moved=moment if facts.away else None)
    if seen.late or facts.away is None:
        return replace(facts, expects=None)
    if not facts.away:
        unanswered = facts.expects is not None and facts.expects.opening
        return facts if unanswered else replace(facts, expects=Expectation(True, moment, seen.data["output"]))
    rests = was_moved is None or moment.at - was_moved.at > gate.travel_s
    if not rests or gate.closing is Closing.BY_ITSELF or not gate.contacts_of(InputRole.CLOSED):
        return replace(facts, expects=None)
    unanswered = facts.expects is not None and not facts.expects.opening
    return facts if unanswered else replace(facts, expects=Expectation(False, moment, seen.data["output"]))


def _commanded(facts: GateFacts, moment: Moment) -> GateFacts:
    late_word = facts.unexplained is not None and moment.at - facts.unexplained.at <= EXPLAINED_AFTER_S
    return replace(facts, command=moment, unexplained=None if late_word else facts.unexplained)


def _heard(premises: Premises, state: State, seen: Seen) -> State:
    serial = int(seen.data["serial"])
    for output in seen.data.get("outputs") or ():
        for gate in premises.gates_moved_by(seen.event.receiver, output):
            state = state.with_gate(gate.name, _commanded(state.gate(gate.name), seen.moment))
    if serial in state.heard:
        state = replace(state, heard={**state.heard, serial: seen.moment})
    state = _battery(state, seen, serial)
    if seen.data.get("enrolling"):
        return state
    if serial in seen.revoked:
        return _happen(state, ConditionKind.REVOKED_USED, seen, serial=serial)
    return state if seen.data.get("known") else _unknown(premises, state, seen, serial)


def _battery(state: State, seen: Seen, serial: int) -> State:
    """Low until a telegram says that it is good or somebody takes note; one that says nothing changes nothing."""
    battery = seen.data.get("battery")
    if battery == Battery.LOW:
        return _happen(state, ConditionKind.BATTERY_LOW, seen, serial=serial)
    if battery == Battery.GOOD:
        gone = f"{ConditionKind.BATTERY_LOW}:{serial:010d}"
        return replace(state, happened={key: each for key, each in state.happened.items() if key != gone})
    return state


def _unknown(premises: Premises, state: State, seen: Seen, serial: int) -> State:
    limits, at = premises.limits, seen.moment.at
    fresh = [each for each in state.unknown.get(serial, ()) if at - each.at <= limits.unknown_window_s]
    presses = (*fresh, seen.moment)[-limits.unknown_presses :]
    others = {each: moments for each, moments in state.unknown.items() if each != serial}
    if len(others) >= _MOST_UNKNOWN:
        del others[next(iter(others))]
    state = replace(state, unknown={**others, serial: presses})
    if len(presses) < limits.unknown_presses:
        return state
    return _happen(state, ConditionKind.UNKNOWN_REPEATED, seen, serial=serial, since=presses[0], count=len(presses))


# --- what happened at a receiver ---


def _link_lost(premises: Premises, state: State, seen: Seen) -> State:
    """What a gate has to answer can't be seen any more; what it already failed to answer stands."""
    for gate in premises.gates_watched_by(seen.event.receiver):
        facts = state.gate(gate.name)
        failed = any(f"{kind}:{gate.name}" in state.open for kind in _UNANSWERED)
        if facts.expects is not None and not failed:
            state = state.with_gate(gate.name, replace(facts, expects=None))
    return state


def _story_gap(premises: Premises, state: State, seen: Seen) -> State:
    return replace(state, doubt={**state.doubt, seen.event.receiver: seen.moment})


def _drift_found(premises: Premises, state: State, seen: Seen) -> State:
    if seen.data.get("cleared"):
        state = _happen(state, ConditionKind.BOARD_RESET, seen)
        return _happen(state, ConditionKind.DRIFT_OPEN, seen) if seen.data.get("drift") else state
    return _happen(state, ConditionKind.DRIFT_OPEN, seen, count=len(seen.data.get("slots", ())))


def _drift_ends(premises: Premises, state: State, seen: Seen) -> State:
    """Nothing of it is left, or somebody has spoken about the last of it."""
    if seen.data.get("left"):
        return state
    gone = f"{ConditionKind.DRIFT_OPEN}:{seen.event.receiver}"
    return replace(state, happened={key: each for key, each in state.happened.items() if key != gone})


def _happen(
    state: State,
    kind: ConditionKind,
    seen: Seen,
    *,
    serial: int | None = None,
    since: Moment | None = None,
    count: int = 1,
) -> State:
    """Note it, once until somebody takes note; what comes again is counted."""
    key = f"{kind}:{seen.event.receiver if serial is None else f'{serial:010d}'}"
    if before := state.happened.get(key):
        again = replace(before, count=before.count + 1)
        return replace(state, happened={**state.happened, key: again})
    found = Happening(kind, since or seen.moment, seen.event.receiver, serial, count)
    return replace(state, happened={**state.happened, key: found})


_UNANSWERED = (ConditionKind.DID_NOT_OPEN, ConditionKind.DID_NOT_CLOSE)
_HANDLERS: Mapping[EventName, Callable[[Premises, State, Seen], State]] = {
    EventName.INPUT_CHANGED: _input_changed,
    EventName.OUTPUT_CHANGED: _output_changed,
    EventName.TRANSMITTER_HEARD: _heard,
    EventName.LINK_LOST: _link_lost,
    EventName.RING_OVERRUN: _story_gap,
    EventName.RECEIVER_RESTARTED: _story_gap,
    EventName.DRIFT_FOUND: _drift_found,
    EventName.DRIFT_DECIDED: _drift_ends,
    EventName.DRIFT_SETTLED: _drift_ends,
}
#: The events that conditions are made from.
SEEN = frozenset(_HANDLERS)
