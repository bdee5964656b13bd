"""Work in progress: start, look, end."""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.faults import Place, RequestFault
from gateway.api.models.visits import VisitAnswer, VisitBody, VisitChangeAnswer, VisitsAnswer
from gateway.api.operations import Operation
from gateway.api.paging import PageQuery, page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.visit import Visit, VisitScope
from gateway.ports import VisitOrder

__all__ = ["OPERATIONS", "end_visit", "get_visit", "list_visits", "start_visit"]


async def list_visits(request: web.Request) -> web.StreamResponse:
    """Running and past visits, newest first; the newest 50 are kept."""
    personal, query = caller_of(request).may(Scope.ROSTER), read_query(request, PageQuery)
    page, cursor = page_after("visits", context_of(request).services.visits.all(), query, lambda each: each.id)
    return reply(VisitsAnswer(visits=[_answer(each, personal) for each in page], next=cursor))


async def get_visit(request: web.Request) -> web.StreamResponse:
    """One visit; what changed meanwhile when it is over."""
    found = context_of(request).services.visits.find(request.match_info["id"])
    return reply(_answer(found, caller_of(request).may(Scope.ROSTER)))


async def start_visit(request: web.Request) -> web.StreamResponse:
    """From now on the roster waits there and alarm reports are tests; it ends by itself. Revocations still go through,
    and what is refused for safety still is."""
    body = await read_body(request, VisitBody)
    if body.gate is not None and body.receiver is not None:
        raise RequestFault(
            "body-invalid",
            "A visit is about one gate, one receiver, or the whole site.",
            remedy="Leave gate or receiver out.",
            places=[Place("gate and receiver can't both be named; leave one out", pointer="#/gate")],
        )
    scope, name = VisitScope.SITE, ""
    if body.gate is not None:
        scope, name = VisitScope.GATE, body.gate
    elif body.receiver is not None:
        scope, name = VisitScope.RECEIVER, body.receiver
    order = VisitOrder(scope, name, body.minutes, body.reason, caller_of(request).name, body.unlock)
    detail = {"scope": scope.value, "of": name, "minutes": body.minutes, "reason": body.reason, "unlock": body.unlock}
    async with audited(request, "visit.started", detail):
        made = await context_of(request).services.visits.start(order)
    location = f"/api/v1/visits/{made.id}"
    return reply(_answer(made, personal=True), status=HTTPStatus.CREATED, headers={"Location": location})


async def end_visit(request: web.Request) -> web.StreamResponse:
    """Over: locked again, and what changed is listed."""
    wanted = request.match_info["id"]
    async with audited(request, "visit.ended", {"visit": wanted}):
        found = await context_of(request).services.visits.end(wanted, asked_by=caller_of(request).name)
    return reply(_answer(found, personal=True))


def _answer(visit: Visit, personal: bool) -> VisitAnswer:
    return VisitAnswer(
        id=visit.id,
        scope=visit.scope,
        name=visit.name,
        receivers=list(visit.receivers),
        state=visit.state,
        minutes=visit.minutes,
        reason=visit.reason if personal else "",
        asked_by=visit.asked_by,
        started=visit.started,
        until=visit.until,
        ended=visit.ended,
        ended_by=visit.ended_by,
        unlocked=list(visit.unlocked),
        problems=dict(visit.problems),
        unread=list(visit.unread),
        changes=[
            VisitChangeAnswer(receiver=each.receiver, event=each.event, time=each.time, sentence=each.sentence)
            for each in visit.changes
        ],
    )


OPERATIONS = (
    Operation(
        id="listVisits",
        method="GET",
        path="/api/v1/visits",
        summary="Work in progress, running and past",
        tag="visits",
        scope=Scope.VIEW,
        handler=list_visits,
        query=PageQuery,
        answer=VisitsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="startVisit",
        method="POST",
        path="/api/v1/visits",
        summary="Set a site, gate or receiver to work in progress",
        tag="visits",
        scope=Scope.ROSTER,
        handler=start_visit,
        body=VisitBody,
        answer=VisitAnswer,
        status=201,
        problems=("not-found", "refused", "no-reason", "visit-length"),
        repeatable=True,
        located=True,
    ),
    Operation(
        id="getVisit",
        method="GET",
        path="/api/v1/visits/{id}",
        summary="One visit, and what changed meanwhile",
        tag="visits",
        scope=Scope.VIEW,
        handler=get_visit,
        answer=VisitAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="endVisit",
        method="POST",
        path="/api/v1/visits/{id}/end",
        summary="End a visit: lock again and list what changed",
        tag="visits",
        scope=Scope.ROSTER,
        handler=end_visit,
        answer=VisitAnswer,
        problems=("not-found", "refused"),
    ),
)
