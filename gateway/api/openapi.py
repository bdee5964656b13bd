"""The OpenAPI 3.1 document, made from the table of operations and the models.

Every operation tells its scope, parameters, body, answers and problems; nothing is written down twice.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import JsonSchemaMode, models_json_schema

from gateway import errors
from gateway.api.idempotency import KEY_LENGTH
from gateway.api.models.problems import ProblemAnswer
from gateway.api.operations import Operation
from gateway.api.problem_types import CLASS_PROBLEMS, CODE_PROBLEMS, PREFIX, REQUEST_PROBLEMS, ProblemType
from gateway.api.problems import CONTENT_TYPE

__all__ = ["build_document", "problem_statuses"]

_TEMPLATE = "#/components/schemas/{model}"
_ALWAYS = ("host-not-allowed", "header-too-large", "request-malformed", "too-many-requests", "internal")
_WITH_TOKEN = (
    "token-missing", "token-invalid", "session-ended", "scope-insufficient", "cross-site", "too-many-failures",
    "store-unavailable",
)  # fmt: skip
_WITH_BODY = ("body-malformed", "body-invalid", "body-too-large", "body-type-unsupported", "body-too-slow")
_WITH_KEY = ("idempotency-key-busy", "idempotency-key-unfinished", "idempotency-key-reused")
_PATH_SCHEMAS = {"serial": {"type": "string", "pattern": "^[0-9]{10}$"}}
_TAGS = {"type": "string", "description": "`*`, or entity tags with commas (RFC 9110, 8.8.3)."}
_TAG_LIST = r'^(\*|(W/)?"[!#-~]*"( *, *(W/)?"[!#-~]*")*)$'
_HEADER_SCHEMAS: dict[str, dict[str, Any]] = {
    "Idempotency-Key": {"type": "string", "minLength": 1, "maxLength": KEY_LENGTH, "pattern": "^[!-~]([ -~]*[!-~])?$"},
    "If-None-Match": _TAGS,
    "If-Match": _TAGS | {"pattern": _TAG_LIST},
    "Last-Event-ID": {"type": "string", "pattern": "^[a-z0-9]+-[0-9]+$"},
}
_ABOUT = (
    "The API of a Gatepost gateway. Times are RFC 3339 in UTC, serials are texts of ten digits, lists page by "
    "cursor, and whatever goes wrong is a problem document (RFC 9457) with a stable type."
)

Refs = Mapping[Any, dict[str, Any]]


def build_document(operations: Sequence[Operation], *, version: str) -> dict[str, Any]:
    """The whole document as plain JSON."""
    refs, top = models_json_schema(_models(operations), ref_template=_TEMPLATE)
    schemas = dict(top.get("$defs", {}))
    paths: dict[str, dict[str, Any]] = {}
    for operation in operations:
        paths.setdefault(operation.path, {})[operation.method.lower()] = _operation(operation, refs, schemas)
    return {
        "openapi": "3.1.0",
        "info": {"title": "Gatepost", "version": version, "description": _ABOUT, "license": {"name": "Apache-2.0"}},
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {
            "schemas": dict(sorted(schemas.items())),
            "securitySchemes": {
                "bearer": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "RFC 6750. Scopes: view, roster, operate, admin.",
                }
            },
        },
    }


def problem_statuses(operation: Operation) -> dict[int, list[str]]:
    """The codes of the problems that an operation can answer with, by status."""
    found: dict[int, list[str]] = {}
    for code in dict.fromkeys(_codes(operation)):
        found.setdefault(_type_of(code).status, []).append(code)
    return dict(sorted(found.items()))


def _codes(operation: Operation) -> tuple[str, ...]:
    return (
        *_ALWAYS,
        *(_WITH_TOKEN if operation.scope else ()),
        *(("query-invalid",) if operation.query else ()),
        *(_WITH_BODY if operation.body else ()),
        *(_WITH_KEY if operation.repeatable else ()),
        *(("precondition-failed", "precondition-required") if operation.guarded else ()),
        *operation.problems,
    )


def _type_of(code: str) -> ProblemType:
    if code in REQUEST_PROBLEMS or code in CODE_PROBLEMS:
        return (REQUEST_PROBLEMS | CODE_PROBLEMS)[code]
    return next(kind for error, kind in CLASS_PROBLEMS.items() if _own_code(error) == code)


def _own_code(error: type[errors.GatepostError]) -> str:
    return error.code


def _models(operations: Sequence[Operation]) -> list[tuple[type[BaseModel], JsonSchemaMode]]:
    wanted: dict[tuple[type[BaseModel], JsonSchemaMode], None] = {(ProblemAnswer, "serialization"): None}
    for operation in operations:
        if operation.body:
            wanted[(operation.body, "validation")] = None
        if operation.answer:
            wanted[(operation.answer, "serialization")] = None
    return list(wanted)


def _operation(operation: Operation, refs: Refs, schemas: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "operationId": operation.id,
        "summary": operation.summary,
        "description": _about(operation),
        "tags": [operation.tag],
        "security": [{"bearer": [operation.scope.value]}] if operation.scope else [],
        "responses": _answers(operation, refs) | _problems(operation, refs),
    }
    if parameters := [*_path(operation), *_query(operation, schemas), *_headers(operation)]:
        found["parameters"] = parameters
    if operation.body:
        found["requestBody"] = _body(operation, refs)
    return found


def _about(operation: Operation) -> str:
    about = " ".join((operation.handler.__doc__ or "").split())
    need = f"Needs the scope `{operation.scope}`." if operation.scope else "Needs no token."
    return f"{about} {need}"


def _body(operation: Operation, refs: Refs) -> dict[str, Any]:
    assert operation.body is not None
    schema = refs[(operation.body, "validation")]
    forms: dict[str, Any] = {}
    for kind in operation.body_types:
        forms[kind] = {} if kind == "text/csv" else {"schema": schema}
    return {"required": operation.body_required, "content": forms}


def _answers(operation: Operation, refs: Refs) -> dict[str, Any]:
    content: dict[str, Any] = {}
    if operation.answer:
        content = {operation.answer_type: {"schema": refs[(operation.answer, "serialization")]}}
    elif operation.status != HTTPStatus.NO_CONTENT:
        shape = "object" if operation.answer_type == "application/json" else "string"
        content = {operation.answer_type: {"schema": {"type": shape}}}
    found: dict[str, Any] = {}
    for status in (operation.status, *operation.others):
        answer: dict[str, Any] = {"description": HTTPStatus(status).phrase}
        if content:
            answer["content"] = content
        if headers := _answer_headers(operation, status):
            answer["headers"] = headers
        found[str(status)] = answer
    if operation.conditional:
        found["304"] = {"description": "It is still what If-None-Match says.", "headers": {"ETag": _text_header()}}
    return found


def _answer_headers(operation: Operation, status: int) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if operation.located and status != HTTPStatus.OK:
        found["Location"] = _text_header()
    if operation.conditional or operation.guarded:
        found["ETag"] = _text_header()
    return found


def _problems(operation: Operation, refs: Refs) -> dict[str, Any]:
    schema = refs[(ProblemAnswer, "serialization")]
    found: dict[str, Any] = {}
    for status, codes in problem_statuses(operation).items():
        if status in operation.others:
            continue
        types = [PREFIX + code for code in codes]
        found[str(status)] = {
            "description": "; ".join(_type_of(code).title for code in codes),
            "content": {CONTENT_TYPE: {"schema": schema, "example": _example(types[0], codes[0], status)}},
        }
    return found


def _example(kind: str, code: str, status: int) -> dict[str, Any]:
    title = _type_of(code).title
    return {"type": kind, "title": title, "status": status, "detail": f"{title}.", "remedy": "What to do next."}


def _path(operation: Operation) -> list[dict[str, Any]]:
    return [
        {"name": name, "in": "path", "required": True, "schema": _PATH_SCHEMAS.get(name, {"type": "string"})}
        for name in re.findall(r"\{(\w+)\}", operation.path)
    ]


def _query(operation: Operation, schemas: dict[str, Any]) -> list[dict[str, Any]]:
    if operation.query is None:
        return []
    schema = operation.query.model_json_schema(ref_template=_TEMPLATE)
    schemas.update(schema.get("$defs", {}))
    needed = schema.get("required", [])
    return [
        {"name": name, "in": "query", "required": name in needed, "schema": shape}
        for name, shape in schema["properties"].items()
    ]


def _headers(operation: Operation) -> list[dict[str, Any]]:
    wanted = (
        (operation.repeatable, "Idempotency-Key", False, "The same key with the same body is done once."),
        (operation.keyed, "Idempotency-Key", False, "A second closure for the same key is refused."),
        (operation.conditional, "If-None-Match", False, "Answers 304 while it is unchanged."),
        (operation.guarded, "If-Match", True, "The ETag of what the change starts from."),
        (operation.streams, "Last-Event-ID", False, "The id of the last event seen."),
    )
    return [
        {"name": name, "in": "header", "required": needed, "description": text, "schema": _HEADER_SCHEMAS[name]}
        for wants, name, needed, text in wanted
        if wants
    ]


def _text_header() -> dict[str, Any]:
    return {"schema": {"type": "string"}}
