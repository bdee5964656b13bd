"""Where a body or a query does not fit its model, place by place, and what to write there instead.

pydantic finds it; its own words name types of this program and are for whoever wrote it. Here each finding gets a JSON
Pointer (RFC 6901, 3 and 6) or a parameter's name, and a sentence. A text that a body sent is never repeated, for it may
be a password in the wrong field: it is only counted. What stands in the address is repeated, for it is no secret.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from typing import Any, get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from gateway.api.faults import Place
from gateway.api.models.base import NOT_BLANK, SERIAL_FORM
from gateway.domain.wrong_value import UNFIT, show_kind, show_value, tell_value

__all__ = ["PATTERN_WORDS", "in_body", "in_query"]

#: What to write where a text has a form, by the pattern of its form.
PATTERN_WORDS = {
    NOT_BLANK: "something that can be read, not blanks alone",
    SERIAL_FORM: "ten digits with the zeros in front, for example 0048231907",
    r"^[^\s:/,;]+:[^\s:/,;]+/[^\s:/,;]+$": "position:receiver/output, for example 1:slip-gate/gate",
    r"^\S+$": "a name without blanks",
    r"^[1-8]$": "a position from 1 to 8",
    r"^[0-9a-zA-Z]+-[0-9]{1,18}$": "the id of an event, for example k3v9-1188",
    r"^[^\x00-\x1f\x7f]+$": "a name without line breaks and other control characters",
}
_OBJECTS = ("dict_type", "model_type", "model_attributes_type")
_KEY = "[key]"


def in_body(detail: ErrorDetails, model: type[BaseModel]) -> Place:
    """The place in a body of `model`, as a pointer, and what to write there."""
    loc, kind = detail["loc"], detail["type"]
    steps = [str(step) for step in loc if step != _KEY]
    if kind == "extra_forbidden":
        words = _unknown("field", steps, model)
    elif kind in _OBJECTS:
        words = f"{show_kind(detail['input'])} stands here; write an object, in braces"
    elif _KEY in loc:
        words = _name_words(detail)
    else:
        words = _words(detail, show_kind, quotes=True)
    return Place(words, pointer=_pointer(steps))


def in_query(detail: ErrorDetails, model: type[BaseModel]) -> Place:
    """The parameter of a query of `model`, and what to write there."""
    steps = [str(step) for step in detail["loc"]]
    unknown = detail["type"] == "extra_forbidden"
    words = _unknown("parameter", steps, model) if unknown else _words(detail, show_value, quotes=False)
    return Place(words, parameter=steps[0])


def _words(detail: ErrorDetails, shown: Any, *, quotes: bool) -> str:
    kind, limits, found = detail["type"], detail.get("ctx", {}), detail["input"]
    if kind == "missing":
        return "it is needed and missing"
    if kind == "value_error":
        return detail["msg"].removeprefix("Value error, ")
    if kind == "string_pattern_mismatch" and (form := PATTERN_WORDS.get(limits["pattern"])):
        return f"{shown(found)} stands here; write {form}"
    return tell_value(kind, limits, found, shown=shown, quotes=quotes) or UNFIT


def _name_words(detail: ErrorDetails) -> str:
    """What is wrong with the name of a field that a caller chooses, such as the number of an output."""
    form = PATTERN_WORDS.get(detail.get("ctx", {}).get("pattern", ""), "")
    if detail["type"].startswith("int_"):
        form = 'a whole number in quotes, for example "1"'
    return f"the name of this field does not fit; write {form}" if form else f"the name of this field: {UNFIT}"


def _unknown(what: str, steps: Sequence[str], model: type[BaseModel]) -> str:
    near = difflib.get_close_matches(steps[-1], _names_below(steps[:-1], model), n=1)
    return f"there is no such {what}; " + (f"did you mean {near[0]}?" if near else "leave it out")


def _names_below(steps: Sequence[str], model: type[BaseModel]) -> list[str]:
    """The fields that may stand in the object at this place."""
    place = model
    for step in steps:
        if field := place.model_fields.get(step):
            place = next(_models_in(field.annotation), place)  # an item's number stays in the model of the list
    return list(place.model_fields)


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


def _pointer(steps: Sequence[str]) -> str:
    """RFC 6901, 3 and 6: `~` and `/` escaped, as a URI fragment."""
    return "#" + "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in steps)
