"""The tables of a settings file as far as they are right, for the rules that go between tables.

A file may have a fault in one table and another between two others, and both are told in one pass. So the rules don't
ask for a whole `Settings`: they see each table without the keys that are wrong by themselves, and ask `sound` before
they judge by one of those.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from gateway.settings.base import WITHOUT_RULES, Strict
from gateway.settings.gates import ConditionSettings, GateSettings
from gateway.settings.outlets import OutletSettings
from gateway.settings.receivers import LineSettings, ReceiverSettings
from gateway.settings.site import GatewaySettings

__all__ = ["Tables", "good_tables"]

T = TypeVar("T")
#: The keys by which rules judge; one that is written wrongly, as `adress`, is not taken for its default.
_USED = ("port", "kind", "line", "address", "driver", "map", "outputs", "receiver", "receivers", "keep_heard_days")


@dataclass(frozen=True, slots=True)
class Tables:
    """What can be judged, by name.

    `named` has of each part every name that the file gives, also of tables that can't be read at all; `doubtful` the
    keys that were left out, as `(part, name, key)`.
    """

    lines: Mapping[str, LineSettings]
    receivers: Mapping[str, ReceiverSettings]
    gates: Mapping[str, GateSettings]
    outlets: Mapping[str, Strict]
    gateway: GatewaySettings | None
    conditions: ConditionSettings | None
    named: Mapping[str, tuple[str, ...]]
    doubtful: frozenset[tuple[str, str, str]]

    def names(self, part: str) -> tuple[str, ...]:
        """Every name of `lines`, `receivers`, `gates` or `outlets`, in order."""
        return tuple(sorted(self.named.get(part, ())))

    def sound(self, part: str, name: str, *keys: str) -> bool:
        """Whether these keys are as the file has them. `name` is empty for a part that is one table."""
        return not any((part, name, key) in self.doubtful for key in keys)


def good_tables(raw: Mapping[str, Any]) -> Tables:
    """The tables of a parsed file, each without the keys that are wrong by themselves."""
    reading = _Reading(raw)
    return Tables(
        lines=reading.several("lines", LineSettings.model_validate),
        receivers=reading.several("receivers", ReceiverSettings.model_validate),
        gates=reading.several("gates", GateSettings.model_validate),
        outlets=reading.several("outlets", _outlet),
        gateway=reading.one("gateway", "", raw.get("gateway"), GatewaySettings.model_validate),
        conditions=reading.one("conditions", "", raw.get("conditions", {}), ConditionSettings.model_validate),
        named={part: _names(raw.get(part)) for part in ("lines", "receivers", "gates", "outlets")},
        doubtful=frozenset(reading.doubtful),
    )


class _Reading:
    """Reads table by table, and gathers what it had to leave out."""

    def __init__(self, raw: Mapping[str, Any]) -> None:
        self._raw = raw
        self.doubtful: set[tuple[str, str, str]] = set()

    def several(self, part: str, read: Callable[..., T]) -> dict[str, T]:
        """A table of tables; one that can't be read even so is missing."""
        tables = self._raw.get(part)
        found = {name: self.one(part, name, tables[name], read) for name in _names(tables)} if tables else {}
        return {name: table for name, table in found.items() if table is not None}

    def one(self, part: str, name: str, table: object, read: Callable[..., T]) -> T | None:
        try:
            return read(table, context=WITHOUT_RULES)
        except ValidationError as fault:
            if not isinstance(table, Mapping):
                return None
            wrong = {key for error in fault.errors() for key in error["loc"][:2] if key in table}
        near = {close for key in wrong for close in difflib.get_close_matches(str(key), _USED, n=1)}
        self.doubtful |= {(part, name, str(key)) for key in wrong | near}
        try:
            return read({key: value for key, value in table.items() if key not in wrong}, context=WITHOUT_RULES)
        except ValidationError:
            return None


def _outlet(table: object, *, context: Any) -> Strict:
    found: Strict = _outlets().validate_python(table, context=context)
    return found


@cache
def _outlets() -> TypeAdapter[Any]:
    return TypeAdapter(OutletSettings)


def _names(part: object) -> tuple[str, ...]:
    return tuple(part) if isinstance(part, Mapping) else ()
