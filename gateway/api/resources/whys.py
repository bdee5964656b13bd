"""Why does it not open?"""

from __future__ import annotations

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.models.whys import FindingAnswer, TransmitterWhyAnswer, WhyAnswer, WhyQuery
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.transmitter import write_serial
from gateway.domain.why import Finding, Why

__all__ = ["OPERATIONS", "get_why"]


async def get_why(request: web.Request) -> web.StreamResponse:
    """What the gateway knows of a holder's transmitters, the likeliest answer first."""
    query = read_query(request, WhyQuery)
    answers = await context_of(request).services.whys.explain(query.holder)
    return reply(WhyAnswer(transmitters=[_answer(each) for each in answers]))


def _answer(why: Why) -> TransmitterWhyAnswer:
    return TransmitterWhyAnswer(
        holder=why.holder,
        serial=write_serial(why.serial),
        answer=_finding(why.answer),
        findings=[_finding(each) for each in why.findings],
        last_heard=why.last_heard,
    )


def _finding(finding: Finding) -> FindingAnswer:
    return FindingAnswer(
        reason=finding.reason,
        sentence=finding.sentence,
        remedy=finding.remedy,
        receiver=finding.receiver or None,
        gate=finding.gate or None,
        time=finding.time,
    )


OPERATIONS = (
    Operation(
        id="getWhy",
        method="GET",
        path="/api/v1/why",
        summary="Why does it not open? By holder or serial",
        tag="gates",
        scope=Scope.ROSTER,
        handler=get_why,
        query=WhyQuery,
        answer=WhyAnswer,
        problems=("not-found",),
    ),
)
