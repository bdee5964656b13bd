"""What is wrong with a settings file, told with line, key and what to write.

pydantic says what it found in its own words and without a line. Here each of its findings becomes one sentence for the
person who edits the file. The line is found by reading the text from the top, for TOML parsers keep none.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from gateway.domain.wrong_value import show_value, tell_value
from gateway.settings.base import Misfits

__all__ = ["Told", "tell_faults", "tell_misfit"]

#: What is said otherwise of a settings file: its tables, its paths, and names, which are what has a pattern there.
_OF_SETTINGS: dict[str, str] = {
    "missing": "this key is needed and missing",
    "string_pattern_mismatch": "a name has small letters, digits and hyphens, at most 32",
    "path_type": '{found} is no path; write it in quotes, for example "/var/lib/gatepost"',
    "dict_type": "{found} stands here; a table is needed",
    "model_type": "{found} stands here; a table is needed",
}
_TEXT = '"fennel-quay"'


@dataclass(frozen=True, slots=True)
class Told:
    """One fault as a sentence. `line` is 0 where none was found."""

    line: int
    sentence: str


def tell_faults(text: str, fault: ErrorDetails, model: type[BaseModel]) -> list[Told]:
    """What one of pydantic's findings says about a file of this text that was checked against `model`."""
    parts = [str(part) for part in fault["loc"] if part != "[key]"]
    if fault["type"] == "value_error":
        error = fault.get("ctx", {}).get("error")
        messages = error.faults if isinstance(error, Misfits) else (fault["msg"].removeprefix("Value error, "),)
        return [_told(text, *_refined(parts, message, model)) for message in messages]
    if fault["type"] == "extra_forbidden":
        near = difflib.get_close_matches(parts[-1], _keys_below(parts[:-1], model), n=1)
        return [_told(text, parts, f"unknown key; did you mean {near[0]}?" if near else "unknown key; take it out")]
    return [_told(text, parts, _sentence(fault) or fault["msg"])]


def tell_misfit(text: str, misfit: str) -> Told:
    """A misfit of `rules`, which begins with its place."""
    place, _, message = misfit.partition(": ")
    return _told(text, place.split("."), message)


def _told(text: str, parts: list[str], message: str) -> Told:
    place, line = ".".join(parts), _line_of(text, parts)
    if line and place:
        return Told(line, f"line {line}, {place}: {message}")
    return Told(0, f"{place or 'the file as a whole'}: {message}")


def _sentence(fault: ErrorDetails) -> str | None:
    kind, found = fault["type"], fault["input"]
    if kind in _OF_SETTINGS:
        return _OF_SETTINGS[kind].format(found=show_value(found))
    return tell_value(kind, fault.get("ctx", {}), found, example=_TEXT)


def _refined(parts: list[str], message: str, model: type[BaseModel]) -> tuple[list[str], str]:
    """A rule over several keys begins with the one that it speaks of: `operate: ...` or `line is needed ...`."""
    first, colon, rest = message.partition(" ")
    key = first.removesuffix(":")
    if key not in _keys_below(parts, model):
        return parts, message
    return [*parts, key], rest if colon and first.endswith(":") else message


def _keys_below(parts: list[str], model: type[BaseModel]) -> list[str]:
    """The keys that may stand in the table at this place, of whichever kind it is."""
    places: list[type[BaseModel]] = [model]
    for part in parts:
        fields = [place.model_fields[part] for place in places if part in place.model_fields]
        if fields:
            places = [found for field in fields for found in _models(field.annotation)]
    return list(dict.fromkeys(key for place in places for key in place.model_fields))


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    """The tables in an annotation: `dict[Name, A | B]` has A and B."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in get_args(annotation):
        yield from _models(argument)


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
