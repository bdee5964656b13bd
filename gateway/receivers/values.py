"""Typed picks from the fields of a decoded block. A field that the map lacks is None."""

from __future__ import annotations

from collections.abc import Mapping

from gateway.maps import Value

__all__ = ["flag_of", "names_of", "number_of", "numbers_of", "states_of", "text_of"]

Values = Mapping[str, Value]


def number_of(values: Values, name: str) -> int | None:
    """An integer field."""
    value = values.get(name)
    return value if isinstance(value, int) else None


def flag_of(values: Values, name: str) -> bool | None:
    """A yes or no; a whole register counts as yes when it isn't zero."""
    value = number_of(values, name)
    return None if value is None else bool(value)


def text_of(values: Values, name: str) -> str | None:
    """A text, or the name of a code."""
    value = values.get(name)
    return value if isinstance(value, str) else None


def numbers_of(values: Values, name: str) -> tuple[int, ...]:
    """Several integers; empty when the map lacks them."""
    value = values.get(name)
    return tuple(int(item) for item in value if isinstance(item, int)) if isinstance(value, tuple) else ()


def states_of(values: Values, name: str) -> tuple[bool, ...]:
    """Several bits; empty when the map lacks them."""
    return tuple(bool(item) for item in numbers_of(values, name))


def names_of(values: Values, name: str) -> tuple[str, ...] | None:
    """The names of several codes."""
    value = values.get(name)
    return tuple(str(item) for item in value) if isinstance(value, tuple) else None
