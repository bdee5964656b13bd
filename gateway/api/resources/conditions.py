"""Conditions: open and recent ones, and taking note."""

from __future__ import annotations

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.models.conditions import (
    AcknowledgementAnswer,
    AcknowledgementBody,
    ConditionAnswer,
    ConditionsAnswer,
    ConditionsQuery,
)
from gateway.api.operations import Operation
from gateway.api.paging import page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.condition import CONDITIONS, Acknowledgement, Condition
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound
from gateway.ports import Conditions

__all__ = ["OPERATIONS", "acknowledge_condition", "get_condition", "list_conditions"]


async def list_conditions(request: web.Request) -> web.StreamResponse:
    """A page of conditions, newest first."""
    query = read_query(request, ConditionsQuery)
    wanted = [
        each
        for each in _of_state(context_of(request).services.conditions, query.state)
        if query.gate in (None, each.gate)
    ]
    page, cursor = page_after("conditions", wanted, query, lambda each: each.id)
    personal = caller_of(request).may(Scope.ROSTER)
    return reply(ConditionsAnswer(conditions=[_answer(each, personal) for each in page], next=cursor))


async def get_condition(request: web.Request) -> web.StreamResponse:
    """One condition, open or cleared a while ago at most."""
    wanted = request.match_info["id"]
    found = next(
        (each for each in _of_state(context_of(request).services.conditions, "all") if each.id == wanted), None
    )
    if found is None:
        raise NotFound("No condition has this id, or it was cleared long ago.", remedy="List them, or read the events.")
    return reply(_answer(found, caller_of(request).may(Scope.ROSTER)))


async def acknowledge_condition(request: web.Request) -> web.StreamResponse:
    """Somebody has taken note. What tells of a past happening is cleared by it; a state that lasts is not."""
    body = await read_body(request, AcknowledgementBody)
    wanted = request.match_info["id"]
    detail = {"condition": wanted, "name": body.name, "note": body.note}
    async with audited(request, "condition.acknowledged", detail):
        found = await context_of(request).services.conditions.acknowledge(wanted, name=body.name, note=body.note)
    return reply(_answer(found, caller_of(request).may(Scope.ROSTER)))


def _of_state(conditions: Conditions, state: str) -> tuple[Condition, ...]:
    wanted = (conditions.open() if state != "cleared" else ()) + (conditions.recent() if state != "open" else ())
    return tuple(sorted(wanted, key=lambda each: each.raised, reverse=True))


def _answer(condition: Condition, personal: bool) -> ConditionAnswer:
    described = CONDITIONS[condition.kind]
    return ConditionAnswer(
        id=condition.id,
        condition=condition.kind,
        weight=described.weight,
        ending=described.ending,
        sentence=condition.sentence,
        since=condition.since,
        raised=condition.raised,
        cleared=condition.cleared,
        receiver=condition.receiver or None,
        gate=condition.gate or None,
        line=condition.line or None,
        input=condition.input,
        output=condition.output,
        serial=None if condition.serial is None else write_serial(condition.serial),
        count=condition.count,
        visit=condition.visit,
        acknowledged=_acknowledged(condition.acknowledged, personal),
    )


def _acknowledged(found: Acknowledgement | None, personal: bool) -> AcknowledgementAnswer | None:
    if found is None:
        return None
    if not personal:
        return AcknowledgementAnswer(time=found.time)
    return AcknowledgementAnswer(time=found.time, name=found.name, note=found.note)


OPERATIONS = (
    Operation(
        id="listConditions",
        method="GET",
        path="/api/v1/conditions",
        summary="What needs a person, newest first",
        tag="gates",
        scope=Scope.VIEW,
        handler=list_conditions,
        query=ConditionsQuery,
        answer=ConditionsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="getCondition",
        method="GET",
        path="/api/v1/conditions/{id}",
        summary="One condition",
        tag="gates",
        scope=Scope.VIEW,
        handler=get_condition,
        answer=ConditionAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="acknowledgeCondition",
        method="POST",
        path="/api/v1/conditions/{id}/acknowledgement",
        summary="Take note of a condition, with name and note",
        tag="gates",
        scope=Scope.ROSTER,
        handler=acknowledge_condition,
        body=AcknowledgementBody,
        answer=ConditionAnswer,
        problems=("not-found", "condition-cleared", "acknowledged-already"),
        repeatable=True,
    ),
)
