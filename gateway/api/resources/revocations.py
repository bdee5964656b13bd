"""Revocations: revoke, see how far it is proven, lift."""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.models.base import read_serial
from gateway.api.models.revocations import LiftQuery, RevocationAnswer, RevocationBody, RevocationsAnswer
from gateway.api.operations import Operation
from gateway.api.paging import PageQuery, page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.revocation import Revocation, RevocationState
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound

__all__ = [
    "OPERATIONS",
    "create_revocation",
    "get_revocation",
    "lift_revocation",
    "list_revocations",
    "revocation_answer",
]


async def list_revocations(request: web.Request) -> web.StreamResponse:
    """A page of revocations in force, newest first."""
    services = context_of(request).services
    query = read_query(request, PageQuery)
    page, cursor = page_after("revocations", services.revocations.all(), query, lambda each: str(each.serial))
    return reply(RevocationsAnswer(revocations=[revocation_answer(services, each) for each in page], next=cursor))


async def get_revocation(request: web.Request) -> web.StreamResponse:
    """One revocation, with its state at each receiver."""
    services = context_of(request).services
    serial = read_serial(request.match_info["serial"])
    found = next((each for each in services.revocations.all() if each.serial == serial), None)
    if found is None:
        raise _none()
    return reply(revocation_answer(services, found))


async def create_revocation(request: web.Request) -> web.StreamResponse:
    """In force and durable when this answers; being written to the receivers."""
    services = context_of(request).services
    body = await read_body(request, RevocationBody)
    serial = int(body.serial)
    detail = {"serial": body.serial, "reason": body.reason}
    async with audited(request, "revocation.asked", detail, must_go_on=True):
        made = await services.revocations.revoke(serial, asked_by=caller_of(request).name, reason=body.reason)
    location = f"/api/v1/revocations/{write_serial(serial)}"
    return reply(revocation_answer(services, made), status=HTTPStatus.ACCEPTED, headers={"Location": location})


async def lift_revocation(request: web.Request) -> web.StreamResponse:
    """The serial may work again when the roster says so."""
    services = context_of(request).services
    query = read_query(request, LiftQuery)
    serial = read_serial(request.match_info["serial"])
    if serial is None:
        raise _none()
    detail = {"serial": write_serial(serial), "reason": query.reason}
    async with audited(request, "revocation.lifted", detail):
        await services.revocations.lift(serial, asked_by=caller_of(request).name, reason=query.reason)
    return web.Response(status=HTTPStatus.NO_CONTENT)


def revocation_answer(services: Services, revocation: Revocation) -> RevocationAnswer:
    """One revocation with its state at each receiver."""
    states = dict(services.revocations.state(revocation.serial)) or dict(revocation.states)
    return RevocationAnswer(
        serial=write_serial(revocation.serial),
        asked_by=revocation.asked_by,
        reason=revocation.reason,
        time=revocation.time,
        states={receiver: state.value for receiver, state in sorted(states.items())},
        proven=bool(states) and all(state is RevocationState.PROVEN for state in states.values()),
    )


def _none() -> NotFound:
    return NotFound("No revocation of this serial is in force.", remedy="List the revocations to see the serials.")


OPERATIONS = (
    Operation(
        id="listRevocations",
        method="GET",
        path="/api/v1/revocations",
        summary="Revocations in force, newest first",
        tag="revocations",
        scope=Scope.ROSTER,
        handler=list_revocations,
        query=PageQuery,
        answer=RevocationsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="createRevocation",
        method="POST",
        path="/api/v1/revocations",
        summary="A transmitter must not work, now",
        tag="revocations",
        scope=Scope.ROSTER,
        handler=create_revocation,
        body=RevocationBody,
        answer=RevocationAnswer,
        status=202,
        problems=("refused",),
        repeatable=True,
        located=True,
    ),
    Operation(
        id="getRevocation",
        method="GET",
        path="/api/v1/revocations/{serial}",
        summary="One revocation and where it is proven",
        tag="revocations",
        scope=Scope.ROSTER,
        handler=get_revocation,
        answer=RevocationAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="liftRevocation",
        method="DELETE",
        path="/api/v1/revocations/{serial}",
        summary="Lift a revocation",
        tag="revocations",
        scope=Scope.ROSTER,
        handler=lift_revocation,
        query=LiftQuery,
        status=204,
        problems=("not-found",),
    ),
)
