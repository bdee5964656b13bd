"""What changed during a visit, in sentences: from the events that told it. Serials are shown, holders are not. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from gateway.domain.events import Event, EventName
from gateway.domain.settings_words import settings_words
from gateway.domain.visit import VisitChange

__all__ = ["TOLD", "changes_of"]

_ORIGINS = {"board": " at the board", "line": " from here", "radio": " by a transmitter"}
_MOST_SLOTS = 40


def _slots(data: Mapping[str, Any]) -> list[str]:
    sentences = []
    slots = list(data.get("slots") or ())
    for slot in slots[:_MOST_SLOTS]:
        origin = _ORIGINS.get(str(slot.get("origin")), "")
        serial = slot.get("serial") or "?"
        sentences.append(
            f"slot {slot.get('slot', '?')}: transmitter {serial} was {slot.get('what', 'changed')}{origin}"
        )
    if len(slots) > _MOST_SLOTS:
        sentences.append(f"{len(slots) - _MOST_SLOTS} more slots of this block")
    return sentences


def _mode(data: Mapping[str, Any]) -> list[str]:
    return [f"the selector of output {data.get('output', '?')} was moved to {data.get('mode', '?')}"]


_WORDS: Mapping[EventName, Callable[[Mapping[str, Any]], list[str]]] = {
    EventName.SLOT_CHANGED: _slots,
    EventName.SETTINGS_CHANGED: settings_words,
    EventName.OUTPUT_MODE_CHANGED: _mode,
    EventName.RECEIVER_RESTARTED: lambda _: ["it was started anew"],
    EventName.RECEIVER_REPLACED: lambda data: [f"another receiver answers: {data.get('answers', '?')}"],
    EventName.SNAPSHOT_TAKEN: lambda data: [f"snapshot {data.get('snapshot', '?')} was taken"],
    EventName.OUTPUT_OPERATED: lambda data: [f"output {data.get('output', '?')} was operated from afar"],
    EventName.REVOCATION_APPLIED: lambda data: [f"transmitter {data.get('serial', '?')} is gone: it was revoked"],
}
#: The events that say what changed.
TOLD = frozenset(_WORDS)


def changes_of(event: Event) -> tuple[VisitChange, ...]:
    """One for each thing that it tells of."""
    sentences = _WORDS[event.name](event.data) if event.name in _WORDS else []
    return tuple(VisitChange(event.receiver, str(event.id), event.time, sentence) for sentence in sentences)
