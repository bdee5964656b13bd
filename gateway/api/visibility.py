"""What of an event or a plan is shown to whom: personal data needs the scope `roster`.

Serials are shown: without the roster they name nobody. Holders' names, names kept in a receiver's memory and
sentences that contain them are left out whole, at any depth.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

__all__ = ["PERSONAL", "without_personal"]

#: Fields of event data that may hold a person's name.
PERSONAL = frozenset({"holder", "holders", "name", "names", "slot_name", "words", "note", "found", "changes"})


def without_personal(data: Mapping[str, Any]) -> dict[str, Any]:
    """The same data without the fields that may name a person."""
    return {key: _clean(value) for key, value in data.items() if key not in PERSONAL}


def _clean(value: Any) -> Any:
    if isinstance(value, Mapping):
        return without_personal(value)
    if isinstance(value, list | tuple):
        return [_clean(each) for each in value]
    return value
