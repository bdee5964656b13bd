"""The client's typed part is the OpenAPI document's, no more and no less."""

from __future__ import annotations

import inspect
import re
from collections.abc import Mapping
from typing import Any, get_type_hints

import pytest

from gateway.api.client import operations, types, writing
from gateway.api.client.operations import Operations
from gateway.api.openapi import build_document
from gateway.api.routes import OPERATIONS

_DOCUMENT = build_document(OPERATIONS, version="")
_MEND = "the API has changed: run `make client` and commit what it wrote"
_VALUES: dict[str, Any] = {"integer": 1, "string": "a", "boolean": True, "array": ["a", "b"]}


def _described() -> list[tuple[str, str, Mapping[str, Any]]]:
    return [
        (method.upper(), path, operation)
        for path, item in _DOCUMENT["paths"].items()
        for method, operation in item.items()
        if operation["operationId"] != "streamEvents"
    ]


class Recorder(Operations):
    """Notes what would be sent."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, str, Mapping[str, Any], object, Mapping[str, str]]] = []

    async def _exchange(
        self, method: str, path: str, *, query: Mapping[str, Any], body: object, headers: Mapping[str, str]
    ) -> tuple[Any, bytes, str]:
        self.sent.append((method, path, query, body, headers))
        return {}, b"", '"tag"'


def test_the_files_are_what_the_document_makes() -> None:
    """Nobody edits them by hand, and nobody forgets to write them anew."""
    assert inspect.getsource(types) == writing.write_types(_DOCUMENT), _MEND
    assert inspect.getsource(operations) == writing.write_operations(_DOCUMENT), _MEND


def test_every_schema_has_a_plain_name() -> None:
    """Two models of one name would get names of modules, which people would have to read."""
    assert not [name for name in _DOCUMENT["components"]["schemas"] if "__" in name or "." in name]


def _snake(name: str) -> str:
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()


@pytest.mark.parametrize(("method", "path", "operation"), _described(), ids=lambda each: str(each)[:40])
async def test_a_call_sends_what_the_document_describes(method: str, path: str, operation: Mapping[str, Any]) -> None:
    """Method and path; every parameter under its name and in its place; nothing that was not given."""
    parameters = operation.get("parameters", [])
    by_place = {place: [each for each in parameters if each["in"] == place] for place in ("path", "query", "header")}
    call = getattr(Recorder(), _snake(operation["operationId"]))
    recorder: Recorder = call.__self__
    given: dict[str, Any] = {each["name"]: "a/b" for each in by_place["path"]}
    given |= {each["name"]: _value(each["schema"]) for each in by_place["query"]}
    names = {"Idempotency-Key": "key", "If-Match": "if_match"}
    given |= {names[each["name"]]: "k" for each in by_place["header"] if each["name"] in names}
    if "application/json" in operation.get("requestBody", {}).get("content", {}):
        given["body"] = {"some": "body"}
    assert set(inspect.signature(call).parameters) == set(given)
    await call(**given)
    ((sent_method, sent_path, query, body, headers),) = recorder.sent
    assert (sent_method, sent_path) == (method, re.sub(r"\{\w+\}", "a%2Fb", path))
    assert set(query) == {each["name"] for each in by_place["query"]}
    assert body == given.get("body")
    assert set(headers) == {each["name"] for each in by_place["header"] if each["name"] in names}


def _value(schema: Mapping[str, Any]) -> Any:
    shapes = [each for each in schema.get("anyOf", [schema]) if each.get("type") != "null"]
    return _VALUES[shapes[0].get("type", "string")]


@pytest.mark.parametrize(("method", "path", "operation"), _described(), ids=lambda each: str(each)[:40])
def test_a_call_gives_what_the_document_describes(method: str, path: str, operation: Mapping[str, Any]) -> None:
    """The result is the type of the best answer's schema, and that type has the schema's fields."""
    call = getattr(Operations, _snake(operation["operationId"]))
    result = get_type_hints(call, vars(operations))["return"]
    status = min(each for each in operation["responses"] if each.startswith("2"))
    content = operation["responses"][status].get("content", {})
    reference = content.get("application/json", {}).get("schema", {}).get("$ref")
    if reference is None:
        assert result in (type(None), bytes, dict[str, Any]), (method, path)
        return
    name = reference.rpartition("/")[2]
    found = getattr(result, "__args__", (result,))[0]
    assert found.__name__ == name
    schema = _DOCUMENT["components"]["schemas"][name]
    assert found.__required_keys__ | found.__optional_keys__ >= set(schema["properties"])


async def test_what_is_not_given_is_not_sent() -> None:
    """Defaults are the gateway's business."""
    recorder = Recorder()
    await recorder.list_events(name=["link.lost", "link.restored"], limit=5)
    await recorder.create_plan({"receiver": "slip-gate", "preview": True})
    assert recorder.sent[0][2] == {"name": ["link.lost", "link.restored"], "limit": 5}
    assert recorder.sent[1][2:] == ({}, {"receiver": "slip-gate", "preview": True}, {})


async def test_a_change_names_what_it_starts_from() -> None:
    """What is read before a guarded change comes with its ETag."""
    recorder = Recorder()
    found = await recorder.get_settings("slip-gate")
    assert found.etag == '"tag"'
    await recorder.change_settings("slip-gate", {"local_programming": False}, if_match=found.etag)
    assert recorder.sent[-1][4] == {"If-Match": '"tag"'}
