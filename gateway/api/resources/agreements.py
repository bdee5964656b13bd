"""Whether each receiver holds what the roster says, judged from what was read and proven last; no receiver is asked."""

from __future__ import annotations

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.context import Context, context_of
from gateway.api.models.agreements import AgreementAnswer, AgreementsAnswer
from gateway.api.operations import Operation
from gateway.api.paging import ShortListQuery, page_after
from gateway.api.replies import reply_tagged
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.plan import ChangeKind, Plan
from gateway.domain.receiver import Capability
from gateway.domain.wait import why_it_waits
from gateway.errors import GatepostError

__all__ = ["OPERATIONS", "list_agreements"]


async def list_agreements(request: web.Request) -> web.StreamResponse:
    """Every receiver with a memory: equal to the roster, different from it, or not known."""
    context, query = context_of(request), read_query(request, ShortListQuery)
    services = context.services
    found = [live for live in services.live.receivers() if _has_slots(services, live.name)]
    page, more = page_after("agreements", found, query, lambda live: live.name)
    answer = AgreementsAnswer(agreements=[_agreement(context, live) for live in page], next=more)
    return reply_tagged(request, answer)


def _has_slots(services: Services, receiver: str) -> bool:
    return Capability.SLOTS in services.capabilities.get(receiver, frozenset(Capability))


def _agreement(context: Context, live: LiveReceiver) -> AgreementAnswer:
    services = context.services
    mirror = services.mirrors.load(live.name)
    if (unknown := _why_unknown(live, mirror)) or mirror is None:
        return _answer(live.name, "unknown", unknown, mirror)
    if (waiting := services.waits.all().get(live.name)) is not None:
        why = why_it_waits(waiting.reason, waiting.snapshot)
        return _answer(live.name, "waits", f"The roster waits until somebody approves: {why}.", mirror)
    try:
        plan = context.agreements.pending(mirror)
    except GatepostError as error:
        return _answer(live.name, "unknown", error.message, mirror)
    if not plan.changes:
        return _answer(live.name, "equal", _equal(live), mirror)
    return _answer(live.name, "differs", _pending(plan), mirror, plan)


def _equal(live: LiveReceiver) -> str:
    if live.link is LinkState.BY_HAND:
        return "By what was entered and ticked by hand it holds what the roster says; nobody can prove it."
    return "It holds exactly what the roster says, proven by reading it."


def _why_unknown(live: LiveReceiver, mirror: Mirror | None) -> str:
    if live.link is LinkState.BY_HAND:
        return "" if mirror else "Nobody has said yet what it holds."
    if mirror is None:
        return "Its memory has not been read yet."
    if live.link is not LinkState.ONLINE or live.status is None:
        return "It can't be reached, so what it holds now is not known."
    if live.status.revision is not None and live.status.revision != mirror.revision:
        return "It was changed just now and is being read again."
    return ""


def _pending(plan: Plan) -> str:
    words = {ChangeKind.ADDED: "to add", ChangeKind.CHANGED: "to change", ChangeKind.REMOVED: "to remove"}
    parts = [f"{count} {word}" for kind, word in words.items() if (count := plan.count(kind))]
    total = len(plan.changes)
    return f"{total} pending change{'' if total == 1 else 's'}: {', '.join(parts)}." + (
        f" Held: {plan.hold}" if plan.hold else ""
    )


def _answer(
    receiver: str, state: str, sentence: str, mirror: Mirror | None, plan: Plan | None = None
) -> AgreementAnswer:
    return AgreementAnswer.model_validate(
        {
            "receiver": receiver,
            "state": state,
            "sentence": sentence,
            "added": plan.count(ChangeKind.ADDED) if plan else 0,
            "changed": plan.count(ChangeKind.CHANGED) if plan else 0,
            "removed": plan.count(ChangeKind.REMOVED) if plan else 0,
            "slots_used": len(mirror.slots) if mirror else None,
            "revision": mirror.revision if mirror else None,
        }
    )


OPERATIONS = (
    Operation(
        id="listAgreements",
        method="GET",
        path="/api/v1/agreements",
        summary="Whether each receiver holds what the roster says",
        tag="receivers",
        scope=Scope.VIEW,
        handler=list_agreements,
        query=ShortListQuery,
        problems=("cursor-invalid",),
        answer=AgreementsAnswer,
        conditional=True,
    ),
)
