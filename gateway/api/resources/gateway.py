"""The gateway itself: its state, health for supervisors, metrics, and the document of this API."""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.context import context_of
from gateway.api.models.gateway import ClockAnswer, GatewayAnswer, HealthAnswer, JournalAnswer, NoticeAnswer
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.events import EventId

__all__ = ["OPERATIONS", "get_gateway", "get_health", "get_metrics", "get_openapi"]


async def get_gateway(request: web.Request) -> web.StreamResponse:
    """Version, uptime, clock, journal, next run, notices."""
    context = context_of(request)
    services = context.services
    newest, oldest = services.journal.newest, services.journal.oldest_number
    return reply(
        GatewayAnswer(
            id=services.gateway_id,
            version=context.version,
            uptime_s=int(services.clock.monotonic() - context.started_s),
            clock=ClockAnswer(now=services.clock.now(), trusted=services.trust.trusted),
            journal=JournalAnswer(
                epoch=newest.epoch,
                newest=str(newest),
                oldest=str(EventId(newest.epoch, oldest)) if oldest else None,
                available=services.journal_available(),
            ),
            next_run=services.timetable.next_run(),
            notices=[NoticeAnswer(code=n.code, text=n.text, remedy=n.remedy) for n in services.notices()],
        )
    )


async def get_health(request: web.Request) -> web.StreamResponse:
    """Open to all, so it says one thing only."""
    if context_of(request).services.journal_available():
        return reply(HealthAnswer(status="ok"))
    return reply(HealthAnswer(status="not ok"), status=HTTPStatus.SERVICE_UNAVAILABLE)


async def get_metrics(request: web.Request) -> web.StreamResponse:
    """Prometheus' text format."""
    body, content_type = context_of(request).metrics.render(request.headers.get("Accept", ""))
    return web.Response(body=body, headers={"Content-Type": content_type})


async def get_openapi(request: web.Request) -> web.StreamResponse:
    """The OpenAPI document."""
    return web.Response(body=context_of(request).document, headers={"Content-Type": "application/json"})


OPERATIONS = (
    Operation(
        id="getHealth",
        method="GET",
        path="/healthz",
        summary="Whether the gateway works; open to all",
        tag="gateway",
        scope=None,
        handler=get_health,
        answer=HealthAnswer,
        others=(503,),
    ),
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
