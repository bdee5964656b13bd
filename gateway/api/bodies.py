"""Reading what a request sends: capped, in time, and checked against a model as a whole.

Bodies are strict: a wrong type or an unknown field is a fault with its place, never guessed or ignored. `wrong_fields`
has the words for each.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import TypeVar

from aiohttp import web
from pydantic import BaseModel, ValidationError

from gateway.api.context import context_of
from gateway.api.faults import Place, RequestFault
from gateway.api.wrong_fields import in_body, in_query

__all__ = ["HELD_BODY", "body_fault", "in_time", "read_body", "read_bytes", "read_query", "refuse_packed", "too_large"]

Model = TypeVar("Model", bound=BaseModel)
_CHUNK = 65536

#: A body that was read before its handler runs.
HELD_BODY: web.RequestKey[bytes] = web.RequestKey("held_body", bytes)


async def read_bytes(request: web.Request, limit: int) -> bytes:
    """The whole body. Raises RequestFault when it is packed, over `limit` bytes or too slow."""
    if HELD_BODY in request:
        return request[HELD_BODY]
    refuse_packed(request)
    if request.content_length is not None and request.content_length > limit:
        raise too_large(limit)
    body = bytearray()
    async with in_time(request):
        while chunk := await request.content.read(_CHUNK):
            body += chunk
            if len(body) > limit:
                raise too_large(limit)
    return bytes(body)


def refuse_packed(request: web.Request) -> None:
    """Raises RequestFault for a body with a Content-Encoding (RFC 9110, 8.4): nothing is unpacked here."""
    if request.headers.get("Content-Encoding", "identity").strip().lower() not in ("", "identity"):
        raise RequestFault(
            "body-type-unsupported",
            "The body is packed.",
            remedy="Send it as it is, without a Content-Encoding.",
            headers={"Accept-Encoding": "identity", "Connection": "close"},
        )


@asynccontextmanager
async def in_time(request: web.Request) -> AsyncIterator[None]:
    """Around reading a body: RequestFault when it comes too slowly or ends early."""
    context = context_of(request)
    try:
        async with context.services.clock.timeout(context.limits.body_s):
            yield
    except TimeoutError as error:
        raise RequestFault(
            "body-too-slow",
            "The body did not arrive in time.",
            remedy="Send it again over a better connection.",
            headers={"Connection": "close"},
        ) from error
    except web.RequestPayloadError as error:
        raise RequestFault("body-malformed", "The body ended early or is damaged.", remedy="Send it again.") from error


async def read_body(request: web.Request, model: type[Model]) -> Model:
    """The JSON body as a model. An empty body stands for `{}`."""
    raw = await read_bytes(request, context_of(request).limits.body_bytes)
    if raw and request.content_type != "application/json":
        raise RequestFault(
            "body-type-unsupported",
            "The body must be JSON.",
            remedy="Send it with Content-Type: application/json.",
            headers={"Accept": "application/json"},
        )
    try:
        return model.model_validate_json(raw or b"{}")
    except ValidationError as error:
        raise body_fault(error, model) from None


def read_query(request: web.Request, model: type[Model]) -> Model:
    """The query as a model; a parameter that the model has as a list may be repeated."""
    lists = {name for name, field in model.model_fields.items() if "list" in str(field.annotation)}
    repeated = [
        Place("it stands more than once; send it once", parameter=name)
        for name in set(request.query)
        if name not in lists and len(request.query.getall(name)) > 1
    ]
    if repeated:
        raise _query_fault(repeated)
    found = {name: request.query.getall(name) if name in lists else request.query[name] for name in set(request.query)}
    try:
        return model.model_validate(found)
    except ValidationError as error:
        raise _query_fault([in_query(detail, model) for detail in error.errors(include_url=False)]) from None


def too_large(limit: int) -> RequestFault:
    """The fault of a body over `limit` bytes; the connection can't be used on."""
    return RequestFault(
        "body-too-large",
        f"The body is larger than {limit} bytes.",
        remedy="Send less in one request.",
        headers={"Connection": "close"},
    )


def body_fault(error: ValidationError, model: type[BaseModel]) -> RequestFault:
    """What is wrong with a body that was to be `model`, place by place."""
    details = error.errors(include_url=False)
    if details[0]["type"] == "json_invalid":
        return _no_json(details[0]["msg"])
    return RequestFault(
        "body-invalid",
        "The body has fields that are missing, unknown or wrong.",
        remedy="Correct the places listed under errors; the fields are described in /api/v1/openapi.json.",
        places=[in_body(detail, model) for detail in details],
    )


def _no_json(found: str) -> RequestFault:
    """`found` is what the parser says; only the place in it is for people."""
    place = re.search(r"at (line [0-9]+) (column [0-9]+)$", found)
    where = f"; it can't be read on from {place[1]}, {place[2]}" if place else ""
    return RequestFault("body-malformed", f"The body is not JSON{where}.", remedy="Send one JSON object.")


def _query_fault(places: Sequence[Place]) -> RequestFault:
    return RequestFault(
        "query-invalid",
        "The query has parameters that are unknown or wrong.",
        remedy="Correct the parameters listed under errors; they are described in /api/v1/openapi.json.",
        places=places,
    )
