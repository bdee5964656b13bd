"""Putting the API together: the routes, what stands before them, and what ends with them."""

from __future__ import annotations

import json
import os
from collections.abc import Collection
from functools import cache
from typing import Any

from aiohttp import web

from gateway.api.agreement_book import AgreementBook
from gateway.api.arrival import arrival_middleware
from gateway.api.auth import auth_middleware
from gateway.api.connection import Connection
from gateway.api.context import CONTEXT, Context
from gateway.api.event_counting import counting_events
from gateway.api.failures import Failures
from gateway.api.faults import RequestFault
from gateway.api.hosts import host_middleware, set_headers
from gateway.api.idempotency import Idempotency, finishing, idempotency_middleware
from gateway.api.limits import Limits
from gateway.api.metrics import Metrics
from gateway.api.openapi import build_document
from gateway.api.operations import Operation
from gateway.api.page_files import add_page
from gateway.api.problems import problem_middleware
from gateway.api.rates import Rates, rate_middleware
from gateway.api.routes import OPERATIONS
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.api.sessions import Sessions
from gateway.api.streams import Streams
from gateway.clock import Clock

__all__ = ["build_application"]


def build_application(
    services: Services,
    *,
    version: str,
    allowed_hosts: Collection[str] = (),
    local_uids: Collection[int] = (),
    limits: Limits | None = None,
    behind_proxy: bool = False,
    security_contact: str = "",
) -> web.Application:
    """The application, ready to be served.

    `allowed_hosts` are host names beside this machine's own that the gateway answers to. `local_uids` are uids beside
    root and our own that count as `admin` on the unix socket. `behind_proxy` says that a proxy of ours
    names the clients. `security_contact` is the URI of whoever wants to hear of weaknesses.
    """
    limits = limits or Limits()
    streams = Streams(limits.streams)
    sessions = Sessions(
        tokens=services.tokens, clock=services.clock, journal=services.journal, documents=services.documents
    )
    metrics = Metrics(services, streams, version=version)
    app = web.Application(
        middlewares=[
            arrival_middleware(services.clock),
            _counting(metrics, services.clock),
            problem_middleware,
            host_middleware(allowed_hosts),
            _header_size(limits.header_bytes),
            auth_middleware(
                tokens=services.tokens,
                sessions=sessions,
                clock=services.clock,
                failures=Failures(limit=limits.failures, window_s=limits.failure_window_s),
                local_uids=frozenset({0, os.getuid(), *local_uids}),
                scope_of=_scope_of,
                refused=metrics.refused_tokens.inc,
            ),
            rate_middleware(Rates(limits.requests_per_minute), services.clock),
            idempotency_middleware(
                Idempotency(services.replays), operation_of=_operation_of, body_limit=limits.body_bytes
            ),
        ],
        client_max_size=limits.roster_bytes,
    )
    app[CONTEXT] = Context(
        services=services,
        limits=limits,
        metrics=metrics,
        streams=streams,
        sessions=sessions,
        agreements=AgreementBook(services),
        version=version,
        started_s=services.clock.monotonic(),
        document=_document(version),
        behind_proxy=behind_proxy,
        security_contact=security_contact,
    )
    for operation in OPERATIONS:
        _add(app, operation)
    add_page(app)
    app.on_response_prepare.append(set_headers)
    app.cleanup_ctx.append(finishing)
    app.cleanup_ctx.append(counting_events)
    app.on_shutdown.append(_end_streams)
    return app


@cache
def _document(version: str) -> bytes:
    """The OpenAPI document; a fifth of a second's work that is the same for every application."""
    return json.dumps(build_document(OPERATIONS, version=version), ensure_ascii=False).encode()


async def _end_streams(app: web.Application) -> None:
    app[CONTEXT].streams.end_all()


def _add(app: web.Application, operation: Operation) -> None:
    if operation.method == "GET":
        app.router.add_get(operation.path, operation.handler, name=operation.id, allow_head=not operation.streams)
    else:
        app.router.add_route(operation.method, operation.path, operation.handler, name=operation.id)


_BY_ADDRESS = {(operation.method, operation.path): operation for operation in OPERATIONS}


def _operation_of(request: web.Request) -> Operation | None:
    resource = request.match_info.route.resource
    method = "GET" if request.method == "HEAD" else request.method
    return _BY_ADDRESS.get((method, resource.canonical)) if resource else None


def _scope_of(request: web.Request) -> Scope | None:
    operation = _operation_of(request)
    return operation.scope if operation else None


def _counting(metrics: Metrics, clock: Clock) -> Any:
    @web.middleware
    async def count(request: web.Request, handler: Any) -> web.StreamResponse:
        if isinstance(request.protocol, Connection):
            request.protocol.greeted()
        began = clock.monotonic()
        response: web.StreamResponse = await handler(request)
        operation = _operation_of(request)
        method, name = request.method if operation else "other", operation.id if operation else "none"
        metrics.requests.labels(method, name, str(response.status)).inc()
        if operation is None or not operation.streams:
            metrics.request_seconds.labels(name).observe(clock.monotonic() - began)
        return response

    return count


def _header_size(limit: int) -> Any:
    @web.middleware
    async def check(request: web.Request, handler: Any) -> web.StreamResponse:
        size = len(request.raw_path) + sum(len(name) + len(text) + 4 for name, text in request.raw_headers)
        if size > limit:
            raise RequestFault(
                "header-too-large",
                f"The header is larger than {limit} bytes.",
                remedy="Send fewer or shorter header fields.",
                headers={"Connection": "close"},
            )
        response: web.StreamResponse = await handler(request)
        return response

    return check
