"""Revoking by holder or by group: first what it would be, then one revocation for each transmitter."""

from __future__ import annotations

from collections.abc import Sequence
from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.faults import Place, RequestFault
from gateway.api.models.revocation_batches import (
    BatchAnswer,
    BatchBody,
    SelectedAnswer,
    SelectionAnswer,
    SelectionQuery,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.resources.revocations import revocation_answer
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.selection import Selected
from gateway.domain.transmitter import write_serial
from gateway.errors import Refused

__all__ = ["OPERATIONS", "create_batch", "get_selection"]


async def get_selection(request: web.Request) -> web.StreamResponse:
    """Which transmitters a holder or a group has. Changes nothing."""
    query = read_query(request, SelectionQuery)
    _check_one(query.holder, query.group, parameter=True)
    found = _select(context_of(request).services, query.holder, query.group)
    return reply(
        SelectionAnswer(
            transmitters=[
                SelectedAnswer(
                    serial=write_serial(each.serial),
                    holder=each.holder,
                    group=each.group,
                    listed=each.listed,
                    receivers=list(each.receivers),
                    revoked=each.revoked,
                    words=each.words,
                )
                for each in found
            ]
        )
    )


async def create_batch(request: web.Request) -> web.StreamResponse:
    """All in force and durable when this answers; those revoked already stay as they were asked first."""
    services = context_of(request).services
    body = await read_body(request, BatchBody)
    _check_one(body.holder, body.group, parameter=False)
    found = _select(services, body.holder, body.group)
    serials = [write_serial(each.serial) for each in found]
    if body.serials is not None and set(body.serials) != set(serials):
        raise Refused(
            "The transmitters are others than those that were looked at.",
            remedy="Look at the selection again, and send its serials.",
            code="selection-changed",
        )
    who = caller_of(request).name
    detail = {"holder": body.holder, "group": body.group, "serials": serials, "reason": body.reason}
    async with audited(request, "revocation.asked", detail, must_go_on=True):
        made = [await services.revocations.revoke(each.serial, asked_by=who, reason=body.reason) for each in found]
    answer = BatchAnswer(revocations=[revocation_answer(services, each) for each in made])
    return reply(answer, status=HTTPStatus.ACCEPTED)


def _select(services: Services, holder: str | None, group: str | None) -> Sequence[Selected]:
    if holder is not None:
        return services.selections.of_holder(holder)
    return services.selections.of_group(group or "")


def _check_one(holder: str | None, group: str | None, *, parameter: bool) -> None:
    if (holder is None) != (group is None):
        return
    detail = "give either this or group, and not both"
    raise RequestFault(
        "query-invalid" if parameter else "body-invalid",
        "Either a holder or a group is needed.",
        remedy="Send one of the two.",
        places=[Place(detail, parameter="holder") if parameter else Place(detail, pointer="#/holder")],
    )


OPERATIONS = (
    Operation(
        id="getRevocationSelection",
        method="GET",
        path="/api/v1/revocation-selections",
        summary="Which transmitters a holder or a group has, before they are revoked",
        tag="revocations",
        scope=Scope.ROSTER,
        handler=get_selection,
        query=SelectionQuery,
        answer=SelectionAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="createRevocationBatch",
        method="POST",
        path="/api/v1/revocation-batches",
        summary="All transmitters of a holder or a group must not work, now",
        tag="revocations",
        scope=Scope.ROSTER,
        handler=create_batch,
        body=BatchBody,
        answer=BatchAnswer,
        status=202,
        problems=("not-found", "refused"),
        repeatable=True,
    ),
)
