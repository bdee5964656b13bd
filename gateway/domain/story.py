"""What happened, as people at the site say it: which gate it was about, what kind of thing it was, and a sentence.

An event knows numbers; a person knows gates. The sentences are for the timeline and its export. What an event hides
(`visibility`) is hidden before a sentence is made, so a caller without the scope `roster` reads of "a transmitter".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any

from gateway.domain.events import EventName
from gateway.domain.gate import Contact, Gate
from gateway.domain.story_words import Told, tell_words

__all__ = ["NAMES_BY_KIND", "StoryKind", "gates_of", "kind_of", "tell"]


class StoryKind(StrEnum):
    """What people filter by."""

    USE = "use"  # somebody pressed a transmitter, or operated from afar
    MOVEMENT = "movement"  # outputs and contacts
    ATTENTION = "attention"  # conditions
    ACCESS = "access"  # who may: roster, plans, revocations, enrolment, what a receiver holds
    EQUIPMENT = "equipment"  # receivers, their links and settings
    GATEWAY = "gateway"  # the gateway itself and where it delivers to


_KIND_BY_NOUN = {
    "transmitter": StoryKind.USE,
    "input": StoryKind.MOVEMENT,
    "condition": StoryKind.ATTENTION,
    "roster": StoryKind.ACCESS,
    "plan": StoryKind.ACCESS,
    "slot": StoryKind.ACCESS,
    "drift": StoryKind.ACCESS,
    "revocation": StoryKind.ACCESS,
    "enrolment": StoryKind.ACCESS,
    "snapshot": StoryKind.ACCESS,
    "link": StoryKind.EQUIPMENT,
    "receiver": StoryKind.EQUIPMENT,
    "ring": StoryKind.EQUIPMENT,
    "settings": StoryKind.EQUIPMENT,
}
_KIND_BY_NAME = {
    EventName.OUTPUT_CHANGED: StoryKind.MOVEMENT,
    EventName.OUTPUT_OPERATED: StoryKind.USE,
    EventName.OUTPUT_MODE_CHANGED: StoryKind.EQUIPMENT,
}


def kind_of(name: EventName) -> StoryKind:
    """What kind of thing an event tells of; anything without a noun of its own is the gateway's."""
    return _KIND_BY_NAME.get(name) or _KIND_BY_NOUN.get(name.value.partition(".")[0], StoryKind.GATEWAY)


NAMES_BY_KIND: Mapping[StoryKind, frozenset[EventName]] = {
    kind: frozenset(name for name in EventName if kind_of(name) is kind) for kind in StoryKind
}


def gates_of(name: EventName, receiver: str, data: Mapping[str, Any], gates: Sequence[Gate]) -> tuple[Gate, ...]:
    """The gates that an event is about: by output, by contact, by its own word, or all that hang on the receiver."""
    if data.get("gate"):
        return tuple(gate for gate in gates if gate.name == data["gate"])
    if kind_of(name) is StoryKind.EQUIPMENT and name is not EventName.OUTPUT_MODE_CHANGED:
        return tuple(gate for gate in gates if receiver in gate.receivers)
    here = [gate for gate in gates if gate.receiver == receiver]
    if name is EventName.INPUT_CHANGED:
        return tuple(gate for gate in gates if _contact(gate, receiver, data) is not None)
    outputs = data.get("outputs") if name is EventName.TRANSMITTER_HEARD else [data.get("output")]
    wanted = set(outputs) if isinstance(outputs, list | tuple) else set()
    return tuple(gate for gate in here if wanted & set(gate.outputs))


def tell(name: EventName, receiver: str, data: Mapping[str, Any], gates: Sequence[Gate]) -> str:
    """One sentence about an event. `data` holds what the reader may see."""
    about = gates_of(name, receiver, data, gates)
    contact = next((found for gate in about if (found := _contact(gate, receiver, data))), None)
    return tell_words(name, Told(receiver, data, tuple(gate.title for gate in about), contact))


def _contact(gate: Gate, receiver: str, data: Mapping[str, Any]) -> Contact | None:
    number = data.get("input")
    return next((each for each in gate.contacts if each.receiver == receiver and each.number == number), None)
