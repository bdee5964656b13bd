"""Which events an outlet takes, as its settings say.

A pattern is an event's name (`input.changed`), a family (`condition.*`) or a condition by its own name
(`condition.raised:left-open`). An outlet is never told of itself failing to be told: `outlet.set_aside` of its own
would be set aside too, and so on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gateway.domain.events import Event, EventName
from gateway.outlets.samples import CONDITIONS

__all__ = ["Choice", "condition_of", "event_key", "is_pattern"]


@dataclass(frozen=True, slots=True)
class Choice:
    """`events` empty means all, `receivers` empty means all; events of the gateway itself belong to no receiver."""

    events: frozenset[str] = frozenset()
    receivers: frozenset[str] = frozenset()

    @property
    def conditions(self) -> tuple[str, ...]:
        """Conditions that are named one by one; `CONDITIONS` when none is."""
        named = {pattern.partition(":")[2] for pattern in self.events} - {""}
        return tuple(sorted(named)) or CONDITIONS

    def takes(self, event: Event, outlet: str) -> bool:
        """Whether the outlet of this name takes it."""
        if event.name is EventName.OUTLET_SET_ASIDE and event.data.get("outlet") == outlet:
            return False
        if self.receivers and event.receiver and event.receiver not in self.receivers:
            return False
        return not self.events or not self.events.isdisjoint(_patterns(event))


def condition_of(data: Mapping[str, Any]) -> str:
    """The name of the condition that an event's data tell of (`kind`); empty without one."""
    inner = data.get("condition")
    found = data.get("kind") or (inner.get("kind") if isinstance(inner, Mapping) else inner)
    return found if isinstance(found, str) else ""


def event_key(event: Event) -> str:
    """Name, and for a condition its own name behind a colon."""
    condition = condition_of(event.data) if event.name.value.startswith("condition.") else ""
    return f"{event.name.value}:{condition}" if condition else event.name.value


def is_pattern(text: str) -> bool:
    """Whether a text of the settings can match any event."""
    name, colon, condition = text.partition(":")
    if colon:
        return name in (EventName.CONDITION_RAISED, EventName.CONDITION_CLEARED) and bool(condition)
    family = name.removesuffix("*")
    return name in set(EventName) or (
        name.endswith(".*") and any(known.value.startswith(family) for known in EventName)
    )


def _patterns(event: Event) -> tuple[str, ...]:
    name = event.name.value
    return name, name.partition(".")[0] + ".*", event_key(event)
