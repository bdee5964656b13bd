"""Gates: where they stand and whether they are healthy."""

from __future__ import annotations

from typing import Literal

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.models.gates import ContactAnswer, GateAnswer, GateOutputAnswer, GatesAnswer
from gateway.api.operations import Operation
from gateway.api.paging import ShortListQuery, page_after
from gateway.api.replies import reply_tagged
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.gate import Contact, GatePosition, GateState
from gateway.domain.live import LinkState

__all__ = ["OPERATIONS", "get_gate", "list_gates"]


async def list_gates(request: web.Request) -> web.StreamResponse:
    """Every gate, with a sentence for people."""
    services, query = context_of(request).services, read_query(request, ShortListQuery)
    page, more = page_after("gates", services.gates.gates(), query, lambda state: state.gate.name)
    return reply_tagged(request, GatesAnswer(gates=[_answer(services, state) for state in page], next=more))


async def get_gate(request: web.Request) -> web.StreamResponse:
    """One gate, with a sentence for people."""
    services = context_of(request).services
    return reply_tagged(request, _answer(services, services.gates.gate(request.match_info["id"])))


def _answer(services: Services, state: GateState) -> GateAnswer:
    gate = state.gate
    names = services.facts_of(gate.receiver).outputs
    return GateAnswer(
        id=gate.name,
        title=gate.title,
        kind=gate.kind,
        receiver=gate.receiver,
        outputs=[GateOutputAnswer(number=number, name=names.get(number, "")) for number in gate.outputs],
        contacts=[_contact(services, contact) for contact in gate.contacts],
        position=state.position,
        since=state.since,
        sentence=state.sentence,
        reason=state.reason,
        healthy=state.position is not GatePosition.UNKNOWN and not state.conditions,
        conditions=list(state.conditions),
        travel_s=gate.travel_s,
        stay_open_limit_s=gate.stay_open_limit_s,
        closing=gate.closing,
        cycles=state.cycles,
        service_cycles=gate.service_cycles,
    )


def _contact(services: Services, contact: Contact) -> ContactAnswer:
    return ContactAnswer(
        receiver=contact.receiver,
        input=contact.number,
        name=contact.name,
        role=contact.role,
        state=_level(services, contact),
    )


def _level(services: Services, contact: Contact) -> Literal["normal", "violated", "unknown"]:
    live = services.live.receiver(contact.receiver)
    inputs = live.status.input_violated if live.status is not None and live.link is LinkState.ONLINE else ()
    if contact.number > len(inputs):
        return "unknown"
    return "violated" if inputs[contact.number - 1] else "normal"


OPERATIONS = (
    Operation(
        id="listGates",
        method="GET",
        path="/api/v1/gates",
        summary="Every gate: where it stands, since when, and whether it is healthy",
        tag="gates",
        scope=Scope.VIEW,
        handler=list_gates,
        query=ShortListQuery,
        problems=("cursor-invalid",),
        answer=GatesAnswer,
        conditional=True,
    ),
    Operation(
        id="getGate",
        method="GET",
        path="/api/v1/gates/{id}",
        summary="One gate",
        tag="gates",
        scope=Scope.VIEW,
        handler=get_gate,
        answer=GateAnswer,
        problems=("not-found",),
        conditional=True,
    ),
)
