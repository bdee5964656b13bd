"""What is said of bodies and queries that don't fit: for every operation, in our words, with a place that is there.

JSON Pointers are resolved by RFC 6901's own rules, written down here once more.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode

import pytest
from aiohttp.test_utils import make_mocked_request
from jsonschema import Draft202012Validator
from pydantic import BaseModel, ValidationError

from gateway.api.bodies import body_fault, read_query
from gateway.api.faults import Place, RequestFault
from gateway.api.models.base import NUMBER_AS_NAME, SERIAL_FORM, SentSerial
from gateway.api.operations import Operation
from gateway.api.routes import OPERATIONS
from gateway.api.wrong_fields import PATTERN_WORDS
from gateway.domain.wrong_value import UNFIT
from tests.fakes.api_bench import ApiBench

_SECRET = "k7Jw-canary-pw"
_WRONG: tuple[Any, ...] = (
    None, True, 0, -1, 1.5, 10**30, 1e300, "", "x", _SECRET, "9" * 11, "y" * 2_001, [], [None], ["x", 3], {}, {"x": 1},
    {"1": []}, {"~/": None}, [[]] * 301,
)  # fmt: skip
#: pydantic's and Python's words; a caller knows neither.
_FOREIGN = re.compile(
    r"[Ii]nput|[Vv]alid\b|Value error|parse|permitted|[Ff]ield required|should|\bmatch|pattern|\bstr\b|\bint\b|\bdict\b"
    r"|\bbool\b|\bNone\b|\bTrue\b|\bFalse\b|iterable|JSON|instance|BaseModel|datetime|\^|\$"
)
_BODIES = [each for each in OPERATIONS if each.body]
_QUERIES = [each for each in OPERATIONS if each.query]


def _places_in(document: Any, steps: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    yield steps
    inner = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    for step, value in inner:
        yield from _places_in(value, (*steps, step))


def _put(document: Any, steps: tuple[str | int, ...], value: Any) -> Any:
    if not steps:
        return value
    changed = copy.deepcopy(document)
    place = changed
    for step in steps[:-1]:
        place = place[step]
    place[steps[-1]] = value
    return changed


def _resolve(document: Any, pointer: str) -> Any:
    """RFC 6901, 4 and 6: what a pointer in a URI fragment names; KeyError when nothing does."""
    assert pointer.startswith("#")
    found = document
    for escaped in pointer[1:].split("/")[1:]:
        step = escaped.replace("~1", "/").replace("~0", "~")
        found = found[int(step)] if isinstance(found, list) else found[step]
    return found


def _fields(model: type[BaseModel]) -> list[str]:
    return list(model.model_fields)


def _bodies(model: type[BaseModel]) -> Iterator[Any]:
    """Bodies that are wrong in one place each: the example with each place emptied, filled wrongly, or doubled."""
    examples: Any = model.model_config.get("json_schema_extra", {"examples": [{}]})
    whole: dict[str, Any] = examples["examples"][0]
    for name in _fields(model):
        yield {key: value for key, value in whole.items() if key != name}
        for wrong in _WRONG:
            yield {**whole, name: wrong}
    for steps in _places_in(whole):
        for wrong in _WRONG:
            yield _put(whole, steps, wrong)
    yield {**whole, "untill": 1, "~a/b": 2, _fields(model)[0] + "s": 3}


def _refused(model: type[BaseModel], body: Any) -> RequestFault | None:
    try:
        model.model_validate_json(json.dumps(body))
    except ValidationError as error:
        return body_fault(error, model)
    return None


def _refused_query(model: type[BaseModel], name: str, value: str) -> RequestFault | None:
    try:
        read_query(make_mocked_request("GET", "/?" + urlencode({name: value})), model)
    except RequestFault as fault:
        return fault
    return None


def _check_words(place: Place) -> None:
    own = re.sub(r"such as .*", "", place.detail)  # names of events
    assert not _FOREIGN.search(own), place
    assert UNFIT not in place.detail, place
    assert not place.detail.endswith("."), place
    assert 10 < len(place.detail) < 400, place


@pytest.mark.parametrize("operation", _BODIES, ids=lambda each: each.id)
def test_a_wrong_body_is_told_place_by_place(operation: Operation) -> None:
    """Every pointer leads to what was sent, or to the object that lacks it; no text that was sent comes back."""
    model = operation.body
    assert model is not None
    faults = 0
    for body in _bodies(model):
        fault = _refused(model, body)
        if fault is None:
            continue
        faults += 1
        assert fault.code == "body-invalid"
        for place in fault.places:
            _check_words(place)
            assert _SECRET not in place.detail
            if "needed and missing" in place.detail:
                above, _, missing = place.pointer.rpartition("/")
                assert missing not in _resolve(body, above), place
            else:
                _resolve(body, place.pointer)
    assert faults > len(_fields(model))


@pytest.mark.parametrize("operation", _QUERIES, ids=lambda each: each.id)
def test_a_wrong_query_is_told_by_parameter(operation: Operation) -> None:
    """Unknown, doubled and wrong parameters: each by its name, and what was sent is shown where it helps."""
    model = operation.query
    assert model is not None
    wrong = ("x", "", "-1", "0", "501", "1e3", "9" * 5000, "2026-02-30", "k3v9", "\x07\u202e", "tru")
    for name, value in ((name, value) for name in (*_fields(model), "limitt") for value in wrong):
        fault = _refused_query(model, name, value)
        if fault is None:
            continue
        assert (fault.code, bool(fault.places)) == ("query-invalid", True)
        for place in fault.places:
            _check_words(place)
            assert place.parameter in (*_fields(model), "limitt")
            assert place.detail.isprintable()


def test_every_form_of_a_text_has_words() -> None:
    """A pattern in a body or a query that nobody put into words would be told as one that just does not fit."""
    models = [model for each in OPERATIONS for model in (each.body, each.query) if model]
    patterns = {pattern for model in models for pattern in _patterns(model.model_json_schema())}
    told_as_digits = {SentSerialAlone.model_json_schema()["properties"]["serial"]["pattern"], NUMBER_AS_NAME}
    assert patterns - told_as_digits == set(PATTERN_WORDS) - {SERIAL_FORM}


class SentSerialAlone(BaseModel):
    """Nothing but a serial that is sent."""

    serial: SentSerial


@pytest.mark.parametrize("number", [0, 1, 9, 4_200_000_000, 4_294_967_294, 2**32 - 1, 2**32, 2**32 + 1, 5_000_000_000])
def test_the_document_has_the_serials_that_can_be(number: int) -> None:
    """A transmitter's serial is an unsigned number of 32 bits; schema and check agree on the edges."""
    text, schema = f"{number:010d}", SentSerialAlone.model_json_schema()["properties"]["serial"]
    assert Draft202012Validator(schema).is_valid(text) == (0 < number < 2**32)
    assert (_refused(SentSerialAlone, {"serial": text}) is None) == (0 < number < 2**32)


def _patterns(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        if isinstance(schema.get("pattern"), str):
            yield schema["pattern"]
        yield from schema.get("patternProperties", {})
    for inner in schema.values() if isinstance(schema, dict) else schema if isinstance(schema, list) else ():
        yield from _patterns(inner)


@pytest.mark.parametrize(
    ("body", "pointer", "detail"),
    [
        ({"serial": "48231907", "reason": "x"}, "#/serial", "a text of 8 characters stands here; write ten digits"),
        ({"serial": 48231907, "reason": "x"}, "#/serial", "a number stands here; write text in quotes"),
        ({"serial": "0048231907"}, "#/reason", "it is needed and missing"),
        ({"serial": "0048231907", "reason": ""}, "#/reason", "it is empty; write something"),
        ({"serial": "0048231907", "reason": "x" * 501}, "#/reason", "it is too long; write at most 500 characters"),
        ({"serial": "0048231907", "reason": "x", "raeson": 1}, "#/raeson", "there is no such field; did you mean reas"),
        ({"serial": "0048231907", "reason": "x", "until": 1}, "#/until", "there is no such field; leave it out"),
        ({"serial": "4294967296", "reason": "x"}, "#/serial", "no transmitter has this serial; write 0000000001"),
        ([1], "#", "a list stands here; write an object, in braces"),
    ],
)  # fmt: skip
async def test_a_revocation_that_is_wrong(body: Any, pointer: str, detail: str) -> None:
    """The words as a caller gets them."""
    async with ApiBench().served("roster") as client:
        reply = await client.post("/api/v1/revocations", body)
        assert (reply.status, reply.problem) == (422, "body-invalid")
        (place,) = reply.json["errors"]
        assert place["pointer"] == pointer
        assert place["detail"].startswith(detail), place


@pytest.mark.parametrize(
    ("query", "parameter", "detail"),
    [
        ("limit=ten", "limit", "“ten” stands here; write a whole number"),
        ("limit=0", "limit", "0 is too small; write at least 1"),
        ("limit=501", "limit", "501 is too large; write at most 500"),
        ("limit=-1&limit=2", "limit", "it stands more than once; send it once"),
        ("limits=5", "limits", "there is no such parameter; did you mean limit?"),
        ("access_token=" + _SECRET, "access_token", "there is no such parameter; leave it out"),
        ("name=link.losst", "name", "“link.losst” stands here; write one of 44 words, such as link.lost"),
    ],
)
async def test_a_question_for_events_that_is_wrong(query: str, parameter: str, detail: str) -> None:
    """The words as a caller gets them."""
    async with ApiBench().served("view") as client:
        reply = await client.get(f"/api/v1/events?{query}")
        assert (reply.status, reply.problem) == (422, "query-invalid")
        (place,) = reply.json["errors"]
        assert place["parameter"] == parameter
        assert place["detail"].startswith(detail), place
        assert "'" not in place["detail"]


async def test_a_body_that_is_no_json_says_where() -> None:
    """Line and column of the place that can't be read on from."""
    async with ApiBench().served("roster") as client:
        kind = {"Content-Type": "application/json"}
        reply = await client.ask("POST", "/api/v1/revocations", data=b'{"serial":\n "004', headers=kind)
        assert reply.json["detail"] == "The body is not JSON; it can't be read on from line 2, column 5."
        twice = await client.ask("POST", "/api/v1/revocations", data=b"\xff\xfe{", headers=kind)
        assert twice.json["detail"].startswith("The body is not JSON; it can't be read on from line 1, column 1")
