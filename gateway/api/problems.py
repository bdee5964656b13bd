"""The one door out for everything that went wrong: RFC 9457 problem documents.

Errors of `gateway.errors`, the router's own 404 and 405, and what nobody expected leave through here. A document
has `type`, `title`, `status`, `detail`, `remedy`, and `errors` where single places are wrong. It never has a trace
nor anything of a body that was sent, which may be a secret in the wrong field.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

import structlog
from aiohttp import web

from gateway.api.faults import Place, RequestFault
from gateway.api.problem_types import PREFIX, REQUEST_PROBLEMS, problem_type
from gateway.errors import GatepostError

__all__ = ["CONTENT_TYPE", "document", "problem_middleware", "problem_response"]

CONTENT_TYPE = "application/problem+json"

_log: structlog.typing.FilteringBoundLogger = structlog.get_logger(__name__)

_ROUTER_CODES = {
    HTTPStatus.NOT_FOUND: ("route-not-found", "See /api/v1/openapi.json for every address."),
    HTTPStatus.METHOD_NOT_ALLOWED: ("method-not-allowed", "Use one of the methods in the Allow header."),
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: ("body-too-large", "Send less in one request."),
    HTTPStatus.EXPECTATION_FAILED: ("request-malformed", "Leave the Expect header out, or send 100-continue."),
}
_KEPT_HEADERS = ("Allow", "Retry-After")


def document(error: GatepostError, places: Sequence[Place] = ()) -> dict[str, Any]:
    """The problem document of an error, as plain JSON."""
    kind = problem_type(error)
    found: dict[str, Any] = {
        "type": PREFIX + error.code,
        "title": kind.title,
        "status": kind.status,
        "detail": error.message,
    }
    if error.remedy:
        found["remedy"] = error.remedy
    if places:
        found["errors"] = [_place(place) for place in places]
    return found


def problem_response(error: GatepostError) -> web.Response:
    """The answer to a request that failed with this error."""
    fault = error if isinstance(error, RequestFault) else None
    body = document(error, fault.places if fault else ())
    return _write(body, fault.headers if fault else {})


@web.middleware
async def problem_middleware(request: web.Request, handler: Any) -> web.StreamResponse:
    """Turn whatever is raised further in into a problem document."""
    try:
        response: web.StreamResponse = await handler(request)
    except GatepostError as error:
        if problem_type(error).status >= HTTPStatus.INTERNAL_SERVER_ERROR:
            _log.warning("request.failed", method=request.method, code=error.code)
        return problem_response(error)
    except web.HTTPException as error:
        if error.status < HTTPStatus.BAD_REQUEST:
            raise
        return _router_problem(error)
    except ConnectionResetError:
        raise
    except Exception:
        _log.exception("request.crashed", method=request.method, route=_route(request))
        return problem_response(
            RequestFault(
                "internal",
                "The gateway met something that it did not expect.",
                remedy="Try again; when it stays, look into the gateway's log and report it.",
            )
        )
    return response


def _router_problem(error: web.HTTPException) -> web.Response:
    code, remedy = _ROUTER_CODES.get(HTTPStatus(error.status), ("request-malformed", "See /api/v1/openapi.json."))
    body = document(RequestFault(code, f"{REQUEST_PROBLEMS[code].title}.", remedy=remedy))
    body["status"] = error.status
    kept = {name: error.headers[name] for name in _KEPT_HEADERS if name in error.headers}
    return _write(body, kept)


def _place(place: Place) -> dict[str, str]:
    parts = {"pointer": place.pointer, "parameter": place.parameter, "header": place.header}
    return {name: text for name, text in parts.items() if text} | {"detail": place.detail}


def _write(body: Mapping[str, Any], headers: Mapping[str, str]) -> web.Response:
    return web.Response(
        status=body["status"],
        body=json.dumps(body, ensure_ascii=False).encode(),
        headers={"Content-Type": CONTENT_TYPE, **headers},
    )


def _route(request: web.Request) -> str:
    resource = request.match_info.route.resource
    return resource.canonical if resource else "none"
