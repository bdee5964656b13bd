"""Where every gate stands at this moment (`ports.Gates`).

Levels come from the last poll, for it is newer than any event; since when they are so comes from the events. While a
receiver that it needs is not online a gate is unknown: the last good value never stands in.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.gate import Contact, Gate, GatePosition, GateState, InputRole, judge_position
from gateway.domain.live import LinkState
from gateway.domain.places import place_words
from gateway.errors import NotFound
from gateway.ports import LiveView
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.state import State
from gateway.watch.conditions.words import gate_sentence, since_words

__all__ = ["GateBoard"]

_LINKS = {
    LinkState.CONNECTING: "was not heard yet",
    LinkState.SILENT: "does not answer",
    LinkState.PORT_LOST: "has lost its port",
    LinkState.PORT_BUSY: "has a port that another program holds",
    LinkState.PASSWORD_REFUSED: "refuses the link password",
    LinkState.WRONG_RECEIVER: "is not the one known",
    LinkState.BY_HAND: "has no line",
}
_Judged = tuple[GatePosition, datetime | None, str]


class GateBoard:
    """`ports.Gates`. `state` tells what conditions remember now."""

    def __init__(self, premises: Premises, *, live: LiveView, clock: Clock, state: Callable[[], State]) -> None:
        self._premises = premises
        self._live = live
        self._clock = clock
        self._state = state

    def gates(self) -> tuple[GateState, ...]:
        return tuple(self._judge(gate) for gate in self._premises.gates)

    def gate(self, name: str) -> GateState:
        """Raises NotFound."""
        if name not in self._premises.gate_by_name:
            known = ", ".join(self._premises.gate_by_name) or "none"
            raise NotFound(f"There is no gate {name}.", remedy=f"The settings name: {known}.")
        return self._judge(self._premises.gate_by_name[name])

    def _judge(self, gate: Gate) -> GateState:
        state = self._state()
        position, since, reason = self._unread(gate) or self._stands(gate, state)
        words = since_words(since, self._clock.now(), self._premises.zone) if since else ""
        return GateState(
            gate=gate,
            position=position,
            since=since,
            sentence=gate_sentence(gate, position, words, reason),
            reason=reason,
            conditions=tuple(each.id for each in state.open.values() if each.gate == gate.name),
            cycles=state.gate(gate.name).cycles,
        )

    def _unread(self, gate: Gate) -> _Judged | None:
        for name in gate.receivers:
            live = self._live.receiver(name)
            if live.link is not LinkState.ONLINE or live.status is None:
                words = _LINKS.get(live.link, _LINKS[LinkState.CONNECTING])
                return GatePosition.UNKNOWN, live.since, f"the receiver {place_words(name)} {words}."
        return None

    def _stands(self, gate: Gate, state: State) -> _Judged:
        closed = gate.contacts_of(InputRole.CLOSED)
        opened = gate.contacts_of(InputRole.OPEN)
        if not (closed or opened):
            return GatePosition.UNKNOWN, None, "no contact tells."
        facts = state.gate(gate.name)
        travelling = facts.moved is not None and self._clock.monotonic() - facts.moved.at < gate.travel_s
        shut = [None if level is None else not level for level in map(self._level, closed)]
        wide = [self._level(contact) for contact in opened]
        position = judge_position(shut, wide, travelling=travelling)
        if position is GatePosition.SHUT:
            return position, _latest(state, closed), ""
        if position is GatePosition.MOVING and facts.moved is not None:
            return position, facts.moved.time, ""
        if position is GatePosition.OPEN:
            was_seen = any(self._since(state, contact) is not None for contact in (*closed, *opened))
            return position, facts.opened.time if facts.opened and was_seen else None, ""
        return position, None, _why_unknown(shut, None in (*shut, *wide))

    def _level(self, contact: Contact) -> bool | None:
        status = self._live.receiver(contact.receiver).status
        if status is None or contact.number > len(status.input_violated):
            return None
        return status.input_violated[contact.number - 1]

    def _since(self, state: State, contact: Contact) -> datetime | None:
        facts = state.contacts.get(contact.key)
        return facts.since.time if facts and facts.since else None


def _why_unknown(shut: list[bool | None], missing: bool) -> str:
    if missing:
        return "the receiver has no such input; look at the settings."
    if shut:
        return "its contacts say shut and open at once."
    return "it is not fully open, and no contact tells whether it is shut."


def _latest(state: State, contacts: tuple[Contact, ...]) -> datetime | None:
    """When the last of these contacts became normal; None when one of them was never seen to."""
    times = []
    for contact in contacts:
        facts = state.contacts.get(contact.key)
        if facts is None or facts.violated or facts.since is None:
            return None
        times.append(facts.since.time)
    return max(times)
