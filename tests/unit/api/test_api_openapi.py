"""The OpenAPI document: valid, complete, and true to the routes."""

from __future__ import annotations

from typing import Any, get_origin

import pytest
from aiohttp import web
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
from pydantic import BaseModel

from gateway.api.application import build_application
from gateway.api.openapi import build_document
from gateway.api.operations import Operation
from gateway.api.routes import OPERATIONS
from gateway.api.scopes import Scope
from tests.fakes.api_bench import ApiBench

DOCUMENT = build_document(OPERATIONS, version="0.1.0")


#: All that is told without a token; each says one thing.
OPEN = {"/healthz", "/healthz/live", "/healthz/ready", "/.well-known/security.txt"}


def _described() -> set[tuple[str, str]]:
    return {(method.upper(), path) for path, item in DOCUMENT["paths"].items() for method in item}


def test_the_document_is_valid() -> None:
    """openapi-spec-validator, an independent reader of the OpenAPI 3.1 specification, finds nothing."""
    OpenAPIV31SpecValidator(DOCUMENT).validate()


async def test_routes_and_document_are_the_same() -> None:
    """Every route but the page's files is described and everything described is routed (HEAD goes with GET)."""
    app = build_application(ApiBench().services, version="0.1.0")
    routed: set[tuple[str, str]] = set()
    for route in app.router.routes():
        assert isinstance(route.resource, web.Resource)
        if route.method != "HEAD":
            routed.add((route.method, route.resource.canonical))
    assert routed - {("GET", "/"), ("GET", "/page/{path}")} == _described()


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.id)
def test_every_operation_is_described(operation: Operation) -> None:
    """Summary, description, scope, answers and problems are there; only health is open."""
    item = DOCUMENT["paths"][operation.path][operation.method.lower()]
    assert item["operationId"] == operation.id
    assert item["summary"]
    assert len(item["description"]) > 20
    if operation.path in OPEN:
        assert item["security"] == []
    else:
        (scope,) = item["security"][0]["bearer"]
        assert scope in set(Scope)
        assert {"401", "403", "421", "429"} <= set(item["responses"])
    if operation.body:
        assert {"400", "413", "415", "422"} <= set(item["responses"])


def test_operation_ids_are_unique() -> None:
    """A generated client has one method for each."""
    ids = [operation.id for operation in OPERATIONS]
    assert len(set(ids)) == len(ids)


def _examples() -> list[tuple[str, Any]]:
    schemas = DOCUMENT["components"]["schemas"]
    return [(name, each) for name, schema in schemas.items() for each in schema.get("examples", [])]


@pytest.mark.parametrize(("name", "example"), _examples(), ids=lambda each: each if isinstance(each, str) else "")
def test_examples_fit_their_schemas(name: str, example: Any) -> None:
    """JSON Schema 2020-12, which OpenAPI 3.1 uses, checked by jsonschema."""
    schema = {"$ref": f"#/components/schemas/{name}", "components": DOCUMENT["components"]}
    Draft202012Validator(schema).validate(example)


def _is_mere_list(model: type[BaseModel]) -> bool:
    """One list, its cursor, and the cautions where there are some."""
    lists = [name for name, field in model.model_fields.items() if get_origin(field.annotation) is list]
    return "next" in model.model_fields and set(model.model_fields) <= {*lists, "next"}


def test_every_body_and_answer_has_an_example() -> None:
    """What people copy first is there: in each body and in each answer that is no mere list."""
    named = {name for name, _ in _examples()}
    wanted = {each for operation in OPERATIONS for each in (operation.body, operation.answer) if each}
    without = {"ConfirmationBody", "SettingsChangeAnswer", "OverridesAnswer"}  # nothing needed; made of what has one
    bare = {each.__name__ for each in wanted if not _is_mere_list(each)} - named
    assert bare == without


def test_bodies_refuse_unknown_fields() -> None:
    """additionalProperties is false in every body's schema."""
    for operation in OPERATIONS:
        if operation.body:
            assert DOCUMENT["components"]["schemas"][operation.body.__name__]["additionalProperties"] is False
