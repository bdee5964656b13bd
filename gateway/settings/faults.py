"""What is wrong with a settings file, told with line, key and what to write.

pydantic says what it found in its own words and without a line. Here each of its findings becomes one sentence for the
person who edits the file. The line is found by reading the text from the top, for TOML parsers keep none.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails

__all__ = ["tell_fault"]

_QUOTED = 'write text in quotes, for example "fennel-quay"'
_SENTENCES: dict[str, Callable[[Mapping[str, Any], object], str]] = {
    "missing": lambda _, __: "this key is needed and missing",
    "string_pattern_mismatch": lambda _, __: "a name has small letters, digits and hyphens, at most 32",
    "string_type": lambda _, found: f"{_shown(found)} stands here; {_QUOTED}",
    "string_too_short": lambda _, __: "it is empty; write something",
    "string_too_long": lambda about, __: f"it is too long; write at most {about.get('max_length')} characters",
    "path_type": lambda _, found: f'{_shown(found)} is no path; write it in quotes, for example "/var/lib/gatepost"',
    "int_type": lambda _, found: f"{_shown(found)} stands here; write a whole number without quotes",
    "int_parsing": lambda _, found: f"{_shown(found)} stands here; write a whole number without quotes",
    "int_from_float": lambda _, found: f"{_shown(found)} stands here; write a whole number",
    "float_type": lambda _, found: f"{_shown(found)} stands here; write a number without quotes",
    "float_parsing": lambda _, found: f"{_shown(found)} stands here; write a number without quotes",
    "bool_type": lambda _, found: f"{_shown(found)} stands here; write true or false",
    "bool_parsing": lambda _, found: f"{_shown(found)} stands here; write true or false",
    "greater_than_equal": lambda about, found: (
        f"{_shown(found)} is too small; write at least {_number(about.get('ge'))}"
    ),
    "greater_than": lambda about, found: f"{_shown(found)} is too small; write more than {_number(about.get('gt'))}",
    "less_than_equal": lambda about, found: f"{_shown(found)} is too large; write at most {_number(about.get('le'))}",
    "literal_error": lambda about, found: f"{_shown(found)} stands here; write {about.get('expected')}",
    "enum": lambda about, found: f"{_shown(found)} stands here; write {about.get('expected')}",
    "tuple_type": lambda _, found: f'{_shown(found)} stands here; write a list, for example ["gate", "lamp"]',
    "dict_type": lambda _, found: f"{_shown(found)} stands here; a table is needed",
    "model_type": lambda _, found: f"{_shown(found)} stands here; a table is needed",
    "too_short": lambda _, __: "at least one is needed",
}


def tell_fault(text: str, fault: ErrorDetails, model: type[BaseModel]) -> str:
    """One sentence for one of pydantic's findings in a file of this text, checked against `model`."""
    parts = [str(part) for part in fault["loc"] if part != "[key]"]
    message = fault["msg"].removeprefix("Value error, ")
    if fault["type"] == "value_error":
        parts, message = _refined(parts, message, model)
    elif fault["type"] == "extra_forbidden":
        near = difflib.get_close_matches(parts[-1], _keys_below(parts[:-1], model), n=1)
        message = f"unknown key; did you mean {near[0]}?" if near else "unknown key; take it out"
    elif fault["type"] in _SENTENCES:
        message = _SENTENCES[fault["type"]](fault.get("ctx", {}), fault["input"])
    place = ".".join(parts)
    line = _line_of(text, parts)
    return f"line {line}, {place}: {message}" if line and place else f"{place or 'the file as a whole'}: {message}"


def _number(limit: object) -> str:
    return f"{limit:g}" if isinstance(limit, float) and abs(limit) < 1e6 else f"{limit}"


def _shown(found: object) -> str:
    if isinstance(found, bool):
        return str(found).lower()
    if isinstance(found, dict | list):
        return "a table" if isinstance(found, dict) else "a list"
    return f"“{found}”" if isinstance(found, str) else f"{found}"


def _refined(parts: list[str], message: str, model: type[BaseModel]) -> tuple[list[str], str]:
    """A rule over several keys names its place in the message: `lines.quayside.port: ...`, or begins with the key."""
    place, colon, rest = message.partition(": ")
    if not parts and colon and re.fullmatch(r"[A-Za-z0-9_.-]+", place):
        return place.split("."), rest
    first = message.split(maxsplit=1)[0]
    return ([*parts, first], message) if first in _keys_below(parts, model) else (parts, message)


def _keys_below(parts: list[str], model: type[BaseModel]) -> list[str]:
    """The keys that may stand in the table at this place."""
    place: Any = model
    for part in parts:
        field = getattr(place, "model_fields", {}).get(part)
        if field is None:
            continue
        options = [field.annotation, *getattr(field.annotation, "__args__", ())]
        place = next((o for o in options if isinstance(o, type) and issubclass(o, BaseModel)), place)
    return list(getattr(place, "model_fields", {}))


def _line_of(text: str, parts: list[str]) -> int:
    """The line that a key or its table stands on, found by reading the file from the top; 0 when not found."""
    table, best = "", 0
    wanted = ".".join(parts)
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            table = header.group(1).replace('"', "").replace(" ", "")
            above = table.startswith(wanted + ".") and not best  # [gate.car-park] where “gate” is unknown
            if above or wanted == table or wanted.startswith(table + "."):
                best = number
            continue
        key = re.match(r"\s*([A-Za-z0-9_.\"-]+)\s*=", line)
        if key:
            full = f"{table}.{key.group(1)}".strip(".").replace('"', "")
            if wanted == full or wanted.startswith(full + "."):
                return number
    return best
