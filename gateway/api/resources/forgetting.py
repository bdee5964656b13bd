"""Forgetting a person who has left: their name and presses are taken out of everything that is kept here.

The audit has the serials and never the name, or else it would be what still names them.
"""

from __future__ import annotations

from dataclasses import asdict

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.context import context_of
from gateway.api.faults import Place, RequestFault
from gateway.api.models.forgetting import ForgettingAnswer, ForgettingBody, ForgettingQuery
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.forgetting import Forgotten
from gateway.domain.transmitter import write_serial

__all__ = ["OPERATIONS"]


async def forget_person(request: web.Request) -> web.StreamResponse:
    """Everything that names them here, but for what is in force."""
    body = await read_body(request, ForgettingBody)
    serial = int(body.serial) if body.serial is not None else None
    if (serial is None) == (not body.holder.strip()):
        raise RequestFault(
            "body-invalid",
            "Either a holder or a transmitter is forgotten.",
            remedy="Send holder or serial, and not both.",
            places=[Place("write either serial or holder", pointer="#/serial")],
        )
    desk = context_of(request).services.forgetting
    if read_query(request, ForgettingQuery).preview:
        return reply(_answer(await desk.forget(serial=serial, holder=body.holder, preview=True)))
    async with audited(request, "person.forgotten", {"by": "serial" if serial is not None else "holder"}):
        done = await desk.forget(serial=serial, holder=body.holder)
    return reply(_answer(done))


def _answer(done: Forgotten) -> ForgettingAnswer:
    counts = asdict(done)
    counts["serials"] = [write_serial(each) for each in done.serials]
    counts["revoked"] = [write_serial(each) for each in done.revoked]
    return ForgettingAnswer(**counts)


OPERATIONS = (
    Operation(
        id="forgetPerson",
        method="POST",
        path="/api/v1/forgettings",
        summary="Take a person who has left out of everything that is kept here",
        tag="people",
        scope=Scope.ADMIN,
        handler=forget_person,
        query=ForgettingQuery,
        body=ForgettingBody,
        answer=ForgettingAnswer,
        problems=("not-found", "holder-listed", "still-held"),
    ),
)
