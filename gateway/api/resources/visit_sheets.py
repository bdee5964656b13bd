"""Visit sheets: what is to be done at a receiver that no line reaches, ticked and unticked; and what it holds."""

from __future__ import annotations

import asyncio

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.etags import make_tag
from gateway.api.models.visit_sheets import (
    HeldTransmitter,
    HoldingsBody,
    SheetLineAnswer,
    TickAnswer,
    TickBody,
    VisitSheetAnswer,
    VisitSheetStateAnswer,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply, reply_tagged
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.api.uploads import UPLOAD_TYPES, read_upload
from gateway.domain.transmitter import write_serial
from gateway.domain.visit_sheet import LineState, SheetLine, VisitSheet
from gateway.errors import NotFound, Refused
from gateway.ports import Holding, ReceiverFacts

__all__ = ["OPERATIONS", "get_visit_sheet", "set_holdings", "tick_line", "untick_line", "visit_answer"]


async def get_visit_sheet(request: web.Request) -> web.StreamResponse:
    """The sheet as it stands, for screen, phone and paper."""
    services = context_of(request).services
    sheet = services.visit_sheets.sheet(request.match_info["id"])
    answer = _sheet(services, sheet)
    return reply_tagged(request, answer, _tag(answer))


async def tick_line(request: web.Request) -> web.StreamResponse:
    """One line was done by hand. Sent twice, it is ticked once, by whom it was first."""
    services, receiver, number = _line_of(request)
    body = await read_body(request, TickBody)
    detail = {"receiver": receiver, "line": number, "done_by": body.done_by, "proven": False}
    async with audited(request, "visit_line.ticked", detail):
        line = await services.visit_sheets.tick(
            receiver, number, done_by=body.done_by, asked_by=caller_of(request).name
        )
    return reply(_line(line, services.facts_of(receiver)))


async def untick_line(request: web.Request) -> web.StreamResponse:
    """It was not done after all."""
    services, receiver, number = _line_of(request)
    async with audited(request, "visit_line.unticked", {"receiver": receiver, "line": number}):
        line = await services.visit_sheets.untick(receiver, number, asked_by=caller_of(request).name)
    return reply(_line(line, services.facts_of(receiver)))


async def set_holdings(request: web.Request) -> web.StreamResponse:
    """This is what it holds, whatever was known before: nothing, what is typed, a snapshot, or a list as CSV."""
    services, receiver = context_of(request).services, request.match_info["id"]
    services.visit_sheets.sheet(receiver)
    if request.content_type in UPLOAD_TYPES and request.content_type != "application/json":
        sheet = await _hold_list(request, services, receiver)
    else:
        sheet = await _hold_body(request, services, receiver)
    return reply(_sheet(services, sheet))


async def _hold_list(request: web.Request, services: Services, receiver: str) -> VisitSheet:
    upload = await read_upload(request)
    checked = await asyncio.to_thread(services.reader.check, upload.roster, upload.groups, services.facts or None)
    if checked.roster is None:
        first = checked.faults[0] if checked.faults else None
        where = f" The first: row {first.row}, {first.column}: {first.found}; {first.remedy}" if first else ""
        raise Refused(
            f"The list has {len(checked.faults)} faults.{where}",
            remedy="`gatepost roster check FILE` shows all of them; nothing was changed.",
            code="holdings-unfit",
        )
    async with audited(request, "holdings.set", {"receiver": receiver, "from": "list"}):
        return await services.visit_sheets.hold_as(receiver, checked.roster, asked_by=caller_of(request).name)


async def _hold_body(request: web.Request, services: Services, receiver: str) -> VisitSheet:
    body, asked_by = await read_body(request, HoldingsBody), caller_of(request).name
    facts = services.facts_of(receiver)
    if body.snapshot is not None:
        async with audited(request, "holdings.set", {"receiver": receiver, "from": body.snapshot}):
            return await services.visit_sheets.hold_snapshot(receiver, body.snapshot, asked_by=asked_by)
    holdings = [_holding(each, facts) for each in body.transmitters or ()]
    detail = {"receiver": receiver, "from": "typed" if holdings else "empty", "transmitters": len(holdings)}
    async with audited(request, "holdings.set", detail):
        return await services.visit_sheets.hold(receiver, holdings, asked_by=asked_by)


def _holding(held: HeldTransmitter, facts: ReceiverFacts) -> Holding:
    outputs: dict[int, list[int]] = {}
    for position, names in held.outputs.items():
        for name in names:
            number = facts.output_number(name)
            if number is None and name.isdigit():
                number = int(name)
            if number is None:
                raise Refused(
                    f"{facts.name} has no output “{name}”.",
                    remedy=f"Its outputs are: {', '.join(facts.outputs.values()) or 'without names; write numbers'}.",
                    code="holdings-unfit",
                )
            outputs.setdefault(int(position), []).append(number)
    return Holding(int(held.serial), outputs, held.name)


def _line_of(request: web.Request) -> tuple[Services, str, int]:
    services, receiver = context_of(request).services, request.match_info["id"]
    number = request.match_info["number"]
    if not (number.isascii() and number.isdigit() and len(number) <= 9):
        raise NotFound("There is no such line on the sheet.", remedy="Its lines have whole numbers.")
    return services, receiver, int(number)


def visit_answer(services: Services, receiver: str) -> VisitSheetStateAnswer | None:
    """How the sheet of a receiver stands; None where a line reaches it."""
    if receiver not in services.visit_sheets.names:
        return None
    return _counts(services, services.visit_sheets.sheet(receiver))


def _counts(services: Services, sheet: VisitSheet) -> VisitSheetStateAnswer:
    return VisitSheetStateAnswer(
        holdings_known=sheet.holdings_known,
        open=sheet.count(LineState.OPEN),
        ticked=sheet.count(LineState.TICKED),
        owed=services.visit_sheets.owed(sheet.receiver),
    )


def _sheet(services: Services, sheet: VisitSheet) -> VisitSheetAnswer:
    facts = services.facts_of(sheet.receiver)
    return VisitSheetAnswer(
        receiver=sheet.receiver,
        site=services.gateway_id,
        printed=services.clock.now(),
        began=sheet.began,
        counts=_counts(services, sheet),
        plan=sheet.plan,
        held=sheet.held,
        lines=[_line(line, facts) for line in sheet.lines],
        left_out=list(sheet.left_out),
        problem=sheet.problem,
        remedy=sheet.remedy,
    )


def _tag(answer: VisitSheetAnswer) -> str:
    """The content's tag without the moment of asking, so that a sheet that stands still is not sent again."""
    return make_tag(answer.model_dump_json(exclude={"printed"}).encode())


def _line(line: SheetLine, facts: ReceiverFacts) -> SheetLineAnswer:
    tick = line.tick
    return SheetLineAnswer(
        number=line.number,
        state=line.state.value,
        work=line.gesture.value,
        serial=write_serial(line.serial),
        position=line.position or None,
        output=line.output or None,
        output_name=facts.outputs.get(line.output, ""),
        holder=line.holder,
        revoked=line.revoked,
        words=line.words,
        tick=TickAnswer(
            done_by=tick.done_by,
            asked_by=tick.asked_by,
            time=tick.time,
            clock_trusted=tick.clock_trusted,
            proven=False,
        )
        if tick
        else None,
    )


_PROBLEMS = ("not-found", "unsupported", "refused")
OPERATIONS = (
    Operation(
        id="getVisitSheet",
        method="GET",
        path="/api/v1/receivers/{id}/visit-sheet",
        summary="What is to be done at a receiver that no line reaches",
        tag="visit sheets",
        scope=Scope.ROSTER,
        handler=get_visit_sheet,
        answer=VisitSheetAnswer,
        problems=("not-found", "unsupported"),
        conditional=True,
    ),
    Operation(
        id="tickLine",
        method="PUT",
        path="/api/v1/receivers/{id}/visit-sheet/lines/{number}/tick",
        summary="A line was done by hand; not proven",
        tag="visit sheets",
        scope=Scope.ROSTER,
        handler=tick_line,
        body=TickBody,
        body_required=False,
        answer=SheetLineAnswer,
        problems=_PROBLEMS,
    ),
    Operation(
        id="untickLine",
        method="DELETE",
        path="/api/v1/receivers/{id}/visit-sheet/lines/{number}/tick",
        summary="A line was not done after all",
        tag="visit sheets",
        scope=Scope.ROSTER,
        handler=untick_line,
        answer=SheetLineAnswer,
        problems=_PROBLEMS,
    ),
    Operation(
        id="setHoldings",
        method="PUT",
        path="/api/v1/receivers/{id}/holdings",
        summary="Say what a receiver that no line reaches holds",
        tag="visit sheets",
        scope=Scope.ROSTER,
        handler=set_holdings,
        body=HoldingsBody,
        body_types=UPLOAD_TYPES,
        answer=VisitSheetAnswer,
        problems=_PROBLEMS,
    ),
)
