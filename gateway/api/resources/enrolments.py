"""Enrolments at a receiver: listen, see each step, finish, cancel, complete; and the local overrides that come of it.

Each step is told as an event too, so a page follows `events/stream` and asks here only once.
"""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.models.base import read_serial
from gateway.api.models.enrolments import (
    BroughtAnswer,
    CompletionAnswer,
    CompletionBody,
    EnrolmentAnswer,
    EnrolmentBody,
    EnrolmentsAnswer,
    HeardAnswer,
    OverrideAnswer,
    OverridesAnswer,
)
from gateway.api.operations import READING_PROBLEMS, Operation
from gateway.api.paging import PageQuery, page_after
from gateway.api.replies import reply
from gateway.api.resources.receivers import require_capability
from gateway.api.scopes import Scope
from gateway.domain.enrolment import Enrolment, EnrolmentWay, Heard
from gateway.domain.enrolment_words import LISTENING_CAUTION, enrolment_words
from gateway.domain.receiver import Capability
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound
from gateway.ports import Enrolled, EnrolmentOrder

__all__ = [
    "OPERATIONS",
    "cancel_enrolment",
    "complete_enrolment",
    "finish_enrolment",
    "get_enrolment",
    "list_enrolments",
    "list_overrides",
    "start_enrolment",
    "withdraw_override",
]


async def start_enrolment(request: web.Request) -> web.StreamResponse:
    """The receiver listens when this answers; a typed serial alone is confirmed at once."""
    services, receiver = context_of(request).services, request.match_info["id"]
    require_capability(services, receiver, Capability.SLOTS)
    body = await read_body(request, EnrolmentBody)
    serial = None if body.serial is None else int(body.serial)
    way = EnrolmentWay(body.way)
    async with audited(request, "enrolment.started", {"receiver": receiver, "way": body.way, "serial": body.serial}):
        made = await services.enrolments.start(
            receiver, way, serial=serial, seconds=body.seconds, asked_by=caller_of(request).name
        )
    location = f"/api/v1/receivers/{receiver}/enrolments/{made.id}"
    return reply(_answer(made), status=HTTPStatus.CREATED, headers={"Location": location})


async def list_enrolments(request: web.Request) -> web.StreamResponse:
    """Those that are remembered, newest first."""
    query = read_query(request, PageQuery)
    found = context_of(request).services.enrolments.of(request.match_info["id"])
    page, cursor = page_after("enrolments", found, query, lambda each: each.id)
    return reply(EnrolmentsAnswer(enrolments=[_answer(each) for each in page], next=cursor))


async def get_enrolment(request: web.Request) -> web.StreamResponse:
    """How far it is."""
    return reply(_answer(context_of(request).services.enrolments.get(*_named(request))))


async def finish_enrolment(request: web.Request) -> web.StreamResponse:
    """Stop listening; what is confirmed stays so."""
    return reply(_answer(await context_of(request).services.enrolments.finish(*_named(request))))


async def cancel_enrolment(request: web.Request) -> web.StreamResponse:
    """Stop listening and forget what was confirmed."""
    return reply(_answer(await context_of(request).services.enrolments.cancel(*_named(request))))


async def complete_enrolment(request: web.Request) -> web.StreamResponse:
    """Rows for the roster, and where it was asked for the transmitters at work at once."""
    services, (receiver, enrolment) = context_of(request).services, _named(request)
    body = await read_body(request, CompletionBody)
    orders = [
        EnrolmentOrder(
            serial=int(each.serial), holder=each.holder, kind=each.kind,
            group=each.group, rights=each.rights, like=each.like, note=each.note,
        )
        for place, each in enumerate(body.transmitters)
    ]  # fmt: skip
    detail = {
        "receiver": receiver,
        "enrolment": enrolment,
        "transmitters": [each.model_dump() for each in body.transmitters],
        "in_force": body.in_force,
        "add": body.add,
    }
    async with audited(request, "enrolment.completed", detail):
        made = await services.enrolments.complete(
            receiver, enrolment, orders, in_force=body.in_force, add=body.add, asked_by=caller_of(request).name
        )
    return reply(_completion(made))


async def list_overrides(request: web.Request) -> web.StreamResponse:
    """All in force, with the rows that the roster lacks."""
    services, query = context_of(request).services, read_query(request, PageQuery)
    form = services.rows
    found = services.enrolments.overrides()
    page, cursor = page_after("overrides", found, query, lambda each: str(each.serial))
    return reply(
        OverridesAnswer(
            header=form.header,
            overrides=[
                OverrideAnswer(
                    serial=write_serial(each.serial),
                    holder=each.holder,
                    row=form.write(each.entry()),
                    asked_by=each.asked_by,
                    time=each.time,
                )
                for each in page
            ],
            next=cursor,
        )
    )


async def withdraw_override(request: web.Request) -> web.StreamResponse:
    """The next run of the roster takes the transmitter out again."""
    serial = read_serial(request.match_info["serial"])
    if serial is None:
        raise NotFound("No override of this serial is in force.", remedy="List the overrides to see the serials.")
    async with audited(request, "override.withdrawn", {"serial": write_serial(serial)}):
        await context_of(request).services.enrolments.withdraw(serial, asked_by=caller_of(request).name)
    return web.Response(status=HTTPStatus.NO_CONTENT)


def _named(request: web.Request) -> tuple[str, str]:
    return request.match_info["id"], request.match_info["enrolment"]


def _answer(enrolment: Enrolment) -> EnrolmentAnswer:
    return EnrolmentAnswer(
        id=enrolment.id,
        receiver=enrolment.receiver,
        way=enrolment.way.value,
        state=enrolment.step.value,
        words=enrolment_words(enrolment),
        caution=LISTENING_CAUTION if enrolment.step.is_listening else "",
        started=enrolment.started,
        ends=enrolment.ends,
        asked_by=enrolment.asked_by,
        typed=None if enrolment.typed is None else write_serial(enrolment.typed),
        heard=[_heard(each) for each in enrolment.heard],
        confirmed=[_heard(each) for each in enrolment.confirmed],
        problem=enrolment.problem,
        remedy=enrolment.remedy,
    )


def _heard(heard: Heard) -> HeardAnswer:
    return HeardAnswer(
        serial=write_serial(heard.serial), presses=heard.presses, position=heard.position, holder=heard.holder or None
    )


def _completion(made: Enrolled) -> CompletionAnswer:
    return CompletionAnswer(
        header=made.header,
        rows=list(made.rows),
        csv="".join(f"{line}\n" for line in (made.header, *made.rows)),
        added=made.added,
        overrides=[write_serial(each.serial) for each in made.overrides],
        brought=[
            BroughtAnswer(
                receiver=each.receiver,
                plan=each.plan.id if each.plan else None,
                state=each.plan.state.value if each.plan else None,
                problem=each.problem,
                remedy=each.remedy,
            )
            for each in made.brought
        ],
        left_out=list(made.left_out),
    )


_COMPLETING = (
    "not-found", "refused", "holder-missing", "rights-missing", "rights-malformed", "no-such-group", "no-such-kind",
    "no-such-holder", "no-such-output", "text-unfit",
)  # fmt: skip

OPERATIONS = (
    Operation(
        id="startEnrolment",
        method="POST",
        path="/api/v1/receivers/{id}/enrolments",
        summary="Find out a transmitter's serial: typed, typed and pressed, two presses, or several in a row",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=start_enrolment,
        body=EnrolmentBody,
        answer=EnrolmentAnswer,
        status=201,
        problems=("serial-missing", *READING_PROBLEMS),
        repeatable=True,
        located=True,
    ),
    Operation(
        id="listEnrolments",
        method="GET",
        path="/api/v1/receivers/{id}/enrolments",
        summary="A receiver's enrolments since the gateway's start, newest first",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=list_enrolments,
        query=PageQuery,
        answer=EnrolmentsAnswer,
        problems=("not-found", "cursor-invalid"),
    ),
    Operation(
        id="getEnrolment",
        method="GET",
        path="/api/v1/receivers/{id}/enrolments/{enrolment}",
        summary="One enrolment and how far it is",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=get_enrolment,
        answer=EnrolmentAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="finishEnrolment",
        method="POST",
        path="/api/v1/receivers/{id}/enrolments/{enrolment}/end",
        summary="Stop listening; what is confirmed stays so",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=finish_enrolment,
        answer=EnrolmentAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="cancelEnrolment",
        method="DELETE",
        path="/api/v1/receivers/{id}/enrolments/{enrolment}",
        summary="Stop listening and forget what was confirmed",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=cancel_enrolment,
        answer=EnrolmentAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="completeEnrolment",
        method="POST",
        path="/api/v1/receivers/{id}/enrolments/{enrolment}/completion",
        summary="Say whose the transmitters are: rows for the roster, at work at once where it is asked for",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=complete_enrolment,
        body=CompletionBody,
        answer=CompletionAnswer,
        problems=_COMPLETING,
        repeatable=True,
    ),
    Operation(
        id="listOverrides",
        method="GET",
        path="/api/v1/overrides",
        summary="Transmitters that work here before the roster has them",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=list_overrides,
        query=PageQuery,
        answer=OverridesAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="withdrawOverride",
        method="DELETE",
        path="/api/v1/overrides/{serial}",
        summary="Take an override back; the next run of the roster takes the transmitter out",
        tag="enrolment",
        scope=Scope.ROSTER,
        handler=withdraw_override,
        status=204,
        problems=("not-found",),
    ),
)  # fmt: skip
