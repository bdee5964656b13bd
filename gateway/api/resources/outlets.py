"""Outlets: their state, tests, replays. Where they lead stands in the settings file and can't be changed here."""

from __future__ import annotations

from typing import Any, Literal, cast

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.context import context_of
from gateway.api.models.outlets import (
    OutletAnswer,
    OutletDetailAnswer,
    OutletsAnswer,
    ReplayBody,
    SampleAnswer,
    SetAsideAnswer,
    TestsAnswer,
)
from gateway.api.operations import Operation
from gateway.api.paging import ShortListQuery, page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.events import EventId
from gateway.ports import OutletState

__all__ = ["OPERATIONS", "get_outlet", "list_outlets", "replay_outlet", "test_outlet"]


async def list_outlets(request: web.Request) -> web.StreamResponse:
    """Every outlet and how far it has come."""
    services, query = context_of(request).services, read_query(request, ShortListQuery)
    epoch = services.journal.newest.epoch
    page, more = page_after("outlets", services.outlets.states(), query, lambda state: state.name)
    return reply(OutletsAnswer(outlets=[OutletAnswer(**_fields(state, epoch)) for state in page], next=more))


async def get_outlet(request: web.Request) -> web.StreamResponse:
    """One outlet and what it set aside."""
    services = context_of(request).services
    name, epoch = request.match_info["id"], services.journal.newest.epoch
    state = services.outlets.state(name)
    aside = [
        SetAsideAnswer(
            event=f"{epoch}-{each.number}",
            name=each.name.value,
            receiver=each.receiver,
            problem=each.problem,
            time=each.time,
        )
        for each in await services.outlets.set_asides(name)
    ]
    return reply(OutletDetailAnswer(**_fields(state, epoch), set_aside_events=aside))


_Outcome = Literal["delivered", "failed", "rejected", "not-tried"]


async def test_outlet(request: web.Request) -> web.StreamResponse:
    """Each kind of event once, marked as a test, beside the queue."""
    services = context_of(request).services
    name = request.match_info["id"]
    time = services.clock.now()
    async with audited(request, "outlet.tested", {"outlet": name}):
        outcomes = await services.outlets.test(name)
    results = [
        SampleAnswer(
            words=each.sample.words,
            event=str(each.event.id),
            outcome=cast(_Outcome, each.outcome),
            answer=each.answer,
            took_s=each.took_s,
        )
        for each in outcomes
    ]
    passed = bool(results) and all(each.outcome == "delivered" for each in results)
    return reply(TestsAnswer(outlet=name, passed=passed, time=time, results=results))


async def replay_outlet(request: web.Request) -> web.StreamResponse:
    """The queue begins anew at this event; a disabled outlet sends again."""
    services = context_of(request).services
    name = request.match_info["id"]
    body = await read_body(request, ReplayBody)
    async with audited(request, "outlet.replayed", {"outlet": name, "first": body.first}):
        state = await services.outlets.replay(name, EventId.parse(body.first))
    return reply(OutletAnswer(**_fields(state, services.journal.newest.epoch)))


def _fields(state: OutletState, epoch: str) -> dict[str, Any]:
    row = state.row
    return {
        "id": state.name,
        "kind": state.kind,
        "place": state.place,
        "state": state.state,
        "next_event": f"{epoch}-{row.cursor + 1}",
        "lag": state.lag,
        "waiting_since": state.waiting_since,
        "failures": row.failures + row.rejections,
        "next_try": row.next_try,
        "failing_since": row.failing_since,
        "problem": state.problem,
        "remedy": state.remedy,
        "done": row.done,
        "set_aside": row.set_aside,
        "lost": row.lost,
    }


OPERATIONS = (
    Operation(
        id="listOutlets",
        method="GET",
        path="/api/v1/outlets",
        summary="Where events go, and how far each outlet has come",
        tag="outlets",
        scope=Scope.VIEW,
        handler=list_outlets,
        query=ShortListQuery,
        problems=("cursor-invalid",),
        answer=OutletsAnswer,
    ),
    Operation(
        id="getOutlet",
        method="GET",
        path="/api/v1/outlets/{id}",
        summary="One outlet, with the events that it set aside",
        tag="outlets",
        scope=Scope.VIEW,
        handler=get_outlet,
        answer=OutletDetailAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="testOutlet",
        method="POST",
        path="/api/v1/outlets/{id}/tests",
        summary="Send each kind of event once as a test",
        tag="outlets",
        scope=Scope.ADMIN,
        handler=test_outlet,
        answer=TestsAnswer,
        problems=("not-found",),
        repeatable=True,
    ),
    Operation(
        id="replayOutlet",
        method="POST",
        path="/api/v1/outlets/{id}/replays",
        summary="Send again from an event on, or let a disabled outlet go on",
        tag="outlets",
        scope=Scope.ADMIN,
        handler=replay_outlet,
        body=ReplayBody,
        answer=OutletAnswer,
        problems=("not-found", "refused"),
        repeatable=True,
    ),
)
