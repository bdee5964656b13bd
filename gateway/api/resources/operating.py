"""Operating an output from afar: what may be, one closure, and what became of it.

The cautions go with every answer. The key of a request is judged by the desk, not replayed: a second closure for one
key is refused, over restarts too. Scope and arrival are all that is decided here; the desk decides the rest.
"""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.arrival import arrived_s
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import Caller, caller_of
from gateway.api.context import context_of
from gateway.api.faults import RequestFault
from gateway.api.idempotency import check_key
from gateway.api.models.operating import (
    OperationAnswer,
    OperationBody,
    OperationsAnswer,
    OutputsAnswer,
    SettingOutputAnswer,
    WarningAnswer,
)
from gateway.api.operations import LINE_PROBLEMS, Operation
from gateway.api.paging import PageQuery, page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope, widen
from gateway.api.services import Services
from gateway.domain.cautions import CAUTIONS
from gateway.domain.operation import Operable, OperationState
from gateway.domain.operation import Operation as Closure
from gateway.errors import NotFound, Refused
from gateway.ports import OperationOrder

__all__ = ["OPERATIONS", "get_operation", "list_operations", "list_outputs", "operate_output"]

#: What somebody sends who wants more than one closure.
_MORE = frozenset(
    {"hold", "hold_open", "press_and_hold", "repeat", "times", "count", "every", "interval", "sequence", "operations",
     "outputs", "steps", "until", "duration", "toggle", "close", "open"}
)  # fmt: skip


async def list_outputs(request: web.Request) -> web.StreamResponse:
    """The outputs that have a name, and which of them may be operated from afar."""
    services = context_of(request).services
    found = services.operating.outputs(request.match_info["id"])
    return reply(OutputsAnswer(outputs=[_output(each) for each in found], cautions=list(CAUTIONS)))


async def list_operations(request: web.Request) -> web.StreamResponse:
    """The newest operations of one output, over restarts."""
    services, output = context_of(request).services, _output_number(request)
    limits = services.live.receiver(request.match_info["id"]).limits
    if limits is not None and output > limits.outputs:
        raise _no_such_output()
    query, found = read_query(request, PageQuery), services.operating.recent(request.match_info["id"], output)
    page, more = page_after("operations", found, query, lambda each: each.id)
    personal = caller_of(request).may(Scope.OPERATE)
    answers = [_answer(each, personal) for each in page]
    return reply(OperationsAnswer(operations=answers, cautions=list(CAUTIONS), next=more))


async def get_operation(request: web.Request) -> web.StreamResponse:
    """One operation, and how far it is."""
    services, output = context_of(request).services, _output_number(request)
    found = services.operating.operation(request.match_info["operation"])
    if (found.receiver, found.output) != (request.match_info["id"], output):
        raise NotFound("This output has no operation of this id.", remedy="List the output's operations.")
    return reply(_answer(found, caller_of(request).may(Scope.OPERATE)))


async def operate_output(request: web.Request) -> web.StreamResponse:
    """One closure that the receiver itself ends, sent at most once: 201 when it was sent and acknowledged, 202 while a
    warning output runs before it. Nothing is ever sent again: an answer that is lost is reported as
    `operation-unknown`."""
    services, caller = context_of(request).services, caller_of(request)
    key = request.headers.get("Idempotency-Key")
    if key is not None:
        check_key(key)
    body = await _read_order(request)
    order = OperationOrder(
        receiver=request.match_info["id"],
        output=_output_number(request),
        reason=body.reason,
        asked_by=caller.name,
        asked_s=arrived_s(request),
        seconds=body.seconds,
        key=key or "",
        still_may=lambda: _still_may(services, caller),
    )
    made = await services.operating.operate(order)
    status = HTTPStatus.ACCEPTED if made.state is OperationState.WARNING else HTTPStatus.CREATED
    location = f"/api/v1/receivers/{made.receiver}/outputs/{made.output}/operations/{made.id}"
    return reply(_answer(made, personal=True), status=status, headers={"Location": location})


async def _read_order(request: web.Request) -> OperationBody:
    try:
        return await read_body(request, OperationBody)
    except RequestFault as fault:
        wanted = {place.pointer.removeprefix("#/").partition("/")[0] for place in fault.places}
        if more := sorted(wanted & _MORE):
            raise Refused(
                f"“{more[0]}” is not offered: an output is closed once, and the receiver ends it by itself.",
                remedy="Ask for one closure with a reason. Holding, repeating and sequences need somebody at the gate.",
                code="one-closure-only",
            ) from fault
        raise


def _still_may(services: Services, caller: Caller) -> bool:
    """A token that was removed, or whose session ended, while a warning ran moves nothing any more."""
    if not caller.token_id:
        return True
    found = next((token for token in services.tokens.list() if token.id == caller.token_id), None)
    return found is not None and Scope.OPERATE in widen(found.scopes)


def _output_number(request: web.Request) -> int:
    text = request.match_info["output"]
    if not (text.isascii() and text.isdigit() and 0 < len(text) <= 3 and int(text)):
        raise _no_such_output()
    return int(text)


def _no_such_output() -> NotFound:
    return NotFound("The receiver has no such output.", remedy="List the receiver's outputs; they are numbered from 1.")


def _output(found: Operable) -> SettingOutputAnswer:
    warning = found.warning
    return SettingOutputAnswer(
        number=found.output,
        name=found.name,
        gate=found.gate or None,
        allowed=found.allowed and not found.is_stop,
        warning=WarningAnswer(output=warning.output, name=warning.name, seconds=warning.seconds) if warning else None,
    )


def _answer(found: Closure, personal: bool) -> OperationAnswer:
    return OperationAnswer(
        id=found.id,
        receiver=found.receiver,
        output=found.output,
        name=found.name,
        state=found.state,
        seconds=found.seconds,
        reason=found.reason if personal else "",
        asked_by=found.asked_by,
        asked=found.asked,
        ended=found.ended,
        code=found.code,
        sentence=found.sentence,
        remedy=found.remedy,
        cautions=list(CAUTIONS),
    )


_PATH = "/api/v1/receivers/{id}/outputs"

OPERATIONS = (
    Operation(
        id="listOutputs",
        method="GET",
        path=_PATH,
        summary="Outputs, and which of them may be operated from afar",
        tag="operating",
        scope=Scope.VIEW,
        handler=list_outputs,
        answer=OutputsAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="listOperations",
        method="GET",
        path=_PATH + "/{output}/operations",
        summary="The newest operations of an output",
        tag="operating",
        scope=Scope.VIEW,
        handler=list_operations,
        query=PageQuery,
        answer=OperationsAnswer,
        problems=("not-found", "cursor-invalid"),
    ),
    Operation(
        id="operateOutput",
        method="POST",
        path=_PATH + "/{output}/operations",
        summary="Close an output once (201), after a warning where there is one (202)",
        tag="operating",
        scope=Scope.OPERATE,
        handler=operate_output,
        body=OperationBody,
        answer=OperationAnswer,
        status=201,
        others=(202,),
        problems=(
            "not-found", "unsupported", "refused", "no-reason", "closure-too-long", "one-closure-only",
            "operated-just-now", "operated-too-often", "operation-repeated", "operation-unknown", "busy",
            "wrong-answer",
            *LINE_PROBLEMS,
        ),
        keyed=True,
        located=True,
    ),
    Operation(
        id="getOperation",
        method="GET",
        path=_PATH + "/{output}/operations/{operation}",
        summary="One operation and how far it is",
        tag="operating",
        scope=Scope.VIEW,
        handler=get_operation,
        answer=OperationAnswer,
        problems=("not-found",),
    ),
)  # fmt: skip
