"""Words for a value that is not what its place in a document wants: what stands there, and what to write instead.

Documents are settings, maps, snapshots, receipts, and what requests send. It must not know what any of them holds, nor
who reads it: whoever checks a document hands over the kind of the finding, its limits and the value. The kinds
are named as pydantic's documentation of validation errors names them, so that nobody has to translate twice.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from typing import Any

__all__ = ["UNFIT", "show_kind", "show_value", "tell_key", "tell_value"]

Limits = Mapping[str, Any]
Shown = Callable[[object], str]

UNFIT = "what stands here does not fit"
"""For a finding that has no words of its own; whoever says it adds where the form is described."""

_LONGEST_SHOWN = 60
_LONGEST_BITS = 200
_MOST_CHOICES = 12


def show_value(found: object) -> str:
    """A value as a person would point at it: `“even”`, `true`, `a table`."""
    if isinstance(found, bool):
        return str(found).lower()
    if isinstance(found, dict | list):
        return "a table" if isinstance(found, dict) else "a list"
    return f"“{_printable(found)}”" if isinstance(found, str) else _in_digits(found)


def show_kind(found: object) -> str:
    """As `show_value`, but a text is only counted, for it may be a secret in the wrong place."""
    if found is None:
        return "null"
    if isinstance(found, str):
        return "an empty text" if not found else f"a text of {_counted(len(found), 'character')}"
    if isinstance(found, bool | int | float):
        return "true or false" if isinstance(found, bool) else "a number"
    return "an object" if isinstance(found, dict) else "a list"


def tell_value(
    kind: str, limits: Limits, found: object, *, shown: Shown = show_value, quotes: bool = True, example: str = ""
) -> str | None:
    """What is wrong and what to write, without a place and a full stop; None for a kind that has no words here.

    `shown` says what stands there. `quotes` tells whether the document knows texts by their quotes; `example` is a text
    as it would be written there.
    """
    if wanted := _wanted(kind, limits, found, quotes=quotes, example=example):
        return f"{shown(found)} stands here; write {wanted}"
    return _out_of_range(kind, limits, found) or _too_many(kind, limits)


def tell_key(kind: str, limits: Limits, found: object, message: str) -> str:
    """What is wrong at a key of a file, and what to write; `message` is what the check itself says, for own rules."""
    words = {
        "missing": "this key is needed and missing",
        "extra_forbidden": "unknown key; take it out",
        "value_error": message.removeprefix("Value error, "),
        "dict_type": f"{show_value(found)} stands here; a table is needed",
        "model_type": f"{show_value(found)} stands here; a table is needed",
        "string_pattern_mismatch": f"{show_value(found)} does not have the form that is described",
    }
    return words.get(kind) or tell_value(kind, limits, found) or UNFIT


def _wanted(kind: str, limits: Limits, found: object, *, quotes: bool, example: str) -> str:
    """What has to stand there instead of something of another type."""
    text = f"text in quotes, for example {example}" if example else "text in quotes" if quotes else "a text"
    bare = " without quotes" if quotes else ""
    expected = _choices(str(limits.get("expected", "")), found, quotes=quotes)
    words = {
        "string_type": text,
        "string_sub_type": text,
        "int_type": f"a whole number{bare}",
        "int_parsing": f"a whole number{bare}",
        "int_parsing_size": "a whole number that is nearer to zero",
        "int_from_float": "a whole number",
        "float_type": f"a number{bare}",
        "float_parsing": f"a number{bare}",
        "finite_number": "a number that has an end",
        "bool_type": "true or false",
        "bool_parsing": "true or false",
        "date_type": "a day as YYYY-MM-DD",
        "date_parsing": "a day of the calendar as YYYY-MM-DD",
        "date_from_datetime_parsing": "a day of the calendar as YYYY-MM-DD",
        "literal_error": expected,
        "enum": expected,
        "list_type": "a list",
        "tuple_type": 'a list, for example ["gate", "lamp"]',
    }
    return words.get(kind, "")


def _choices(expected: str, found: object, *, quotes: bool) -> str:
    """The words that may stand there, or those that are nearest where a person would not read them all."""
    words = re.findall(r"'([^']*)'", expected)
    if len(words) > _MOST_CHOICES:
        near = difflib.get_close_matches(str(found), words, n=3, cutoff=0.5) or words[:3]
        shown = " or ".join(f"'{word}'" for word in near)
        expected = f"one of {len(words)} words, such as {shown}"
    expected = expected.replace("True", "true").replace("False", "false")
    return expected if quotes else expected.replace("'", "")


def _out_of_range(kind: str, limits: Limits, found: object) -> str:
    words = {
        "greater_than_equal": ("small", "at least", "ge"),
        "greater_than": ("small", "more than", "gt"),
        "less_than_equal": ("large", "at most", "le"),
        "less_than": ("large", "less than", "lt"),
    }
    if kind not in words:
        return ""
    size, bound, key = words[kind]
    return f"{_number(found)} is too {size}; write {bound} {_number(limits.get(key))}"


def _too_many(kind: str, limits: Limits) -> str | None:
    if kind == "string_too_short":
        return "it is empty; write something"
    if kind == "string_too_long":
        return f"it is too long; write at most {limits.get('max_length')} characters"
    if kind == "too_short":
        least = limits.get("min_length", 1)
        return f"at least {'one is' if least == 1 else f'{least} are'} needed"
    if kind == "too_long":
        return f"these are too many; write at most {limits.get('max_length')}"
    return None


def _number(value: object) -> str:
    """A number in few characters; 5.0 is 5."""
    if isinstance(value, float):
        return f"{value:g}" if abs(value) < 1e6 else f"{value}"
    return _in_digits(value)


def _in_digits(value: object) -> str:
    if isinstance(value, int) and value.bit_length() > _LONGEST_BITS:  # Python turns no endless number into text
        return "a number with very many digits"
    return str(value)


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _printable(text: str) -> str:
    """A text that is safe to print on one line, cut where it is long."""
    whole = "".join(letter if letter.isprintable() else "?" for letter in text)
    return whole if len(whole) <= _LONGEST_SHOWN else f"{whole[:_LONGEST_SHOWN]}..."
