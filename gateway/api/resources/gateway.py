"""The gateway itself: its state, health for supervisors, metrics, and the document of this API."""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.context import context_of
from gateway.api.models.gateway import (
    ClockAnswer,
    GatewayAnswer,
    HealthAnswer,
    JournalAnswer,
    NoticeAnswer,
    SealAnswer,
    StateOfHealthAnswer,
)
from gateway.api.operations import Handler, Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.events import EventId
from gateway.domain.support import SUPPORT_ENDS

__all__ = ["OPERATIONS", "get_gateway", "get_live", "get_metrics", "get_openapi", "get_ready"]


async def get_gateway(request: web.Request) -> web.StreamResponse:
    """Version and how long it is supported, uptime, clock, journal, next run, notices."""
    context = context_of(request)
    services = context.services
    health = services.health()
    seal = services.audit.seal
    newest, oldest = services.journal.newest, services.journal.oldest_number
    return reply(
        GatewayAnswer(
            id=services.gateway_id,
            version=context.version,
            supported_until=SUPPORT_ENDS,
            uptime_s=int(services.clock.monotonic() - context.started_s),
            clock=ClockAnswer(now=services.clock.now(), trusted=services.trust.trusted),
            journal=JournalAnswer(
                epoch=newest.epoch,
                newest=str(newest),
                oldest=str(EventId(newest.epoch, oldest)) if oldest else None,
                available=services.journal_available(),
            ),
            health=StateOfHealthAnswer(
                live=health.live, ready=health.ready, stuck=list(health.stuck), lacking=list(health.lacking)
            ),
            audit=SealAnswer(number=seal.number, hash=seal.hash) if seal else None,
            next_run=services.timetable.next_run(),
            notices=[NoticeAnswer(code=n.code, text=n.text, remedy=n.remedy) for n in services.notices()],
        )
    )


async def get_live(request: web.Request) -> web.StreamResponse:
    """Every worker makes progress. Open to all, so it says one thing only; `/api/v1/gateway` says more."""
    return _health(context_of(request).services.health().live)


async def get_ready(request: web.Request) -> web.StreamResponse:
    """It is live, can write its journal and has a line open. Open to all, so it says one thing only."""
    return _health(context_of(request).services.health().ready)


def _health(well: bool) -> web.StreamResponse:
    if well:
        return reply(HealthAnswer(status="ok"))
    return reply(HealthAnswer(status="not ok"), status=HTTPStatus.SERVICE_UNAVAILABLE)


async def get_metrics(request: web.Request) -> web.StreamResponse:
    """Prometheus' text format."""
    body, content_type = context_of(request).metrics.render(request.headers.get("Accept", ""))
    return web.Response(body=body, headers={"Content-Type": content_type})


async def get_openapi(request: web.Request) -> web.StreamResponse:
    """The OpenAPI document."""
    return web.Response(body=context_of(request).document, headers={"Content-Type": "application/json"})


def _asked_by_supervisors(id: str, path: str, summary: str, handler: Handler) -> Operation:
    return Operation(
        id=id,
        method="GET",
        path=path,
        summary=summary,
        tag="gateway",
        scope=None,
        handler=handler,
        answer=HealthAnswer,
        others=(503,),
    )


OPERATIONS = (
    _asked_by_supervisors(
        "getHealth", "/healthz", "Whether the gateway does what it is there for; the same as /healthz/ready", get_ready
    ),
    _asked_by_supervisors(
        "getLive", "/healthz/live", "Whether every part makes progress; when not, a restart may help", get_live
    ),
    _asked_by_supervisors("getReady", "/healthz/ready", "Whether the gateway does what it is there for", get_ready),
    Operation(
        id="getMetrics",
        method="GET",
        path="/metrics",
        summary="Metrics in Prometheus' text format",
        tag="gateway",
        scope=Scope.VIEW,
        handler=get_metrics,
        answer_type="text/plain",
    ),
    Operation(
        id="getOpenapi",
        method="GET",
        path="/api/v1/openapi.json",
        summary="This document",
        tag="gateway",
        scope=Scope.VIEW,
        handler=get_openapi,
    ),
    Operation(
        id="getGateway",
        method="GET",
        path="/api/v1/gateway",
        summary="Version, clock, journal, next run and what a person should know",
        tag="gateway",
        scope=Scope.VIEW,
        handler=get_gateway,
        answer=GatewayAnswer,
    ),
)
