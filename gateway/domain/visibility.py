"""What of an event is shown to whom: personal data needs the scope `roster`.

Serials are shown: without the roster they name nobody. Holders' names, names kept in a receiver's memory, sentences
that contain them and what people wrote about a revocation are left out whole, at any depth.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gateway.domain.events import Event, EventName

__all__ = ["PERSONAL", "visible_data"]

#: Fields of event data that may hold a person's name. Counts by these names name nobody and stay.
PERSONAL = frozenset(
    {"holder", "holders", "name", "names", "slot_name", "words", "note", "found", "changes", "done_by"}
)

_FREE_TEXT = {
    EventName.REVOCATION_PENDING: frozenset({"reason"}),
    EventName.REVOCATION_APPLIED: frozenset({"reason"}),
    EventName.REVOCATION_LIFTED: frozenset({"reason"}),
    EventName.OUTPUT_OPERATED: frozenset({"reason"}),
    EventName.VISIT_STARTED: frozenset({"reason"}),
    EventName.VISIT_ENDED: frozenset({"reason"}),
}


def visible_data(event: Event, *, personal: bool) -> dict[str, Any]:
    """The data of an event; without the fields that may name a person unless `personal`."""
    if personal:
        return dict(event.data)
    return _without(event.data, PERSONAL | _FREE_TEXT.get(event.name, frozenset()))


def _without(data: Mapping[str, Any], hidden: frozenset[str]) -> dict[str, Any]:
    return {
        key: _clean(value, hidden) for key, value in data.items() if key not in hidden or isinstance(value, int | float)
    }


def _clean(value: Any, hidden: frozenset[str]) -> Any:
    if isinstance(value, Mapping):
        return _without(value, hidden)
    if isinstance(value, list | tuple):
        return [_clean(each, hidden) for each in value]
    return value
