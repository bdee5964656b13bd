"""Drift: what is open at receivers, and deciding about it."""

from __future__ import annotations

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.models.base import read_serial
from gateway.api.models.drift import DecidedAnswer, DecisionBody, DriftAnswer, DriftListAnswer, DriftQuery
from gateway.api.operations import LINE_PROBLEMS, Operation
from gateway.api.paging import page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.drift import Decision, DriftItem
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound

__all__ = ["OPERATIONS", "decide_drift", "list_drift"]


async def list_drift(request: web.Request) -> web.StreamResponse:
    """A page of what is open, by receiver and serial."""
    services = context_of(request).services
    query = read_query(request, DriftQuery)
    found = services.drift.open(query.receiver)
    page, cursor = page_after(
        f"drift {query.receiver or ''}", found, query, lambda each: f"{each.receiver}/{each.serial}"
    )
    return reply(DriftListAnswer(drift=[_answer(each) for each in page], next=cursor))


async def decide_drift(request: web.Request) -> web.StreamResponse:
    """Durable when this answers; what it asks for is written in the background."""
    services, receiver = context_of(request).services, request.match_info["id"]
    serial = read_serial(request.match_info["serial"])
    body = await read_body(request, DecisionBody)
    if serial is None:
        raise NotFound("No transmitter can have this serial.", remedy="List what is open to see the serials.")
    detail = {"receiver": receiver, "serial": write_serial(serial), "decision": body.decision}
    async with audited(request, "drift.decided", detail):
        decided = await services.drift.decide(
            receiver, serial, Decision(body.decision), asked_by=caller_of(request).name
        )
    item = decided.item
    return reply(DecidedAnswer(drift=_answer(item) if item else None, plan=decided.plan or None, words=decided.words))


def _answer(item: DriftItem) -> DriftAnswer:
    return DriftAnswer(
        receiver=item.receiver,
        serial=write_serial(item.serial),
        holder=item.holder,
        kind=item.kind.value,
        state=item.state.value,
        origin=item.origin.value if item.origin else None,
        since=item.since,
        words=item.words,
        next_step=item.next_step,
        gained=list(item.gained),
        lost=list(item.lost),
        todo=item.todo,
        rights=item.rights,
        decisions=[each.value for each in item.decisions],
        decided_by=item.decided_by,
    )


OPERATIONS = (
    Operation(
        id="listDrift",
        method="GET",
        path="/api/v1/drift",
        summary="What other hands changed at receivers and is still open",
        tag="drift",
        scope=Scope.ROSTER,
        handler=list_drift,
        query=DriftQuery,
        answer=DriftListAnswer,
        problems=("cursor-invalid", "not-found", "unsupported"),
    ),
    Operation(
        id="decideDrift",
        method="POST",
        path="/api/v1/receivers/{id}/drift/{serial}/decision",
        summary="Say what becomes of one such change",
        tag="drift",
        scope=Scope.ROSTER,
        handler=decide_drift,
        body=DecisionBody,
        answer=DecidedAnswer,
        problems=("not-found", "unsupported", "refused", *LINE_PROBLEMS),
        repeatable=True,
    ),
)
