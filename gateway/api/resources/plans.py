"""Plans: preview, start, follow, approve."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.cursors import read_text, write_cursor
from gateway.api.models.plans import (
    ApplicationAnswer,
    ChangeAnswer,
    PlanAnswer,
    PlanBody,
    PlansAnswer,
    PlansQuery,
    PlanSummary,
    ProgressAnswer,
    RefusalBody,
)
from gateway.api.operations import LINE_PROBLEMS, Operation
from gateway.api.replies import reply
from gateway.api.resources.receivers import require_capability
from gateway.api.resources.slots import pairs
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Capability, Slot
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound

__all__ = [
    "OPERATIONS",
    "accepted",
    "approve_plan",
    "create_plan",
    "get_application",
    "get_plan",
    "list_plans",
    "plan_answer",
    "refuse_plan",
]


async def list_plans(request: web.Request) -> web.StreamResponse:
    """A page of plans, newest first."""
    services = context_of(request).services
    query = read_query(request, PlansQuery)
    if query.open:
        waiting = await services.plans.unfinished(query.receiver)
        return reply(PlansAnswer(plans=[PlanSummary(**_summary(services, plan)) for plan in waiting[::-1]], next=None))
    before = read_text("plans", query.cursor) if query.cursor else None
    found = await services.plans.newest(receiver=query.receiver, limit=query.limit + 1, before=before)
    page = found[: query.limit]
    return reply(
        PlansAnswer(
            plans=[PlanSummary(**_summary(services, plan)) for plan in page],
            next=write_cursor("plans", page[-1].id) if len(found) > len(page) else None,
        )
    )


async def create_plan(request: web.Request) -> web.StreamResponse:
    """200 with what would be written, or 202 and where to see it being written."""
    services = context_of(request).services
    body = await read_body(request, PlanBody)
    require_capability(services, body.receiver, Capability.SLOTS)
    if body.preview:
        return reply(plan_answer(services, await services.sync.preview(body.receiver), personal=True))
    async with audited(request, "plan.started", {"receiver": body.receiver}):
        plan = await services.sync.start(body.receiver, asked_by=caller_of(request).name)
    return accepted(services, plan)


async def get_plan(request: web.Request) -> web.StreamResponse:
    """One plan with all of its changes and how far it is."""
    services = context_of(request).services
    plan = await _load(services, request.match_info["id"])
    return reply(plan_answer(services, plan, personal=caller_of(request).may(Scope.ROSTER)))


async def get_application(request: web.Request) -> web.StreamResponse:
    """How the writing goes. While it is under way the answer comes from memory; a whole plan is never read for it."""
    services, plan_id = context_of(request).services, request.match_info["id"]
    personal = caller_of(request).may(Scope.ROSTER)
    progress = services.sync.progress(plan_id)
    if progress is not None:
        done, total, words = progress
        state = PlanState.APPLYING
    else:
        plan = await _load(services, plan_id)
        state, done, total, words = plan.state, plan.done, len(plan.changes), plan.outcome
    return reply(
        ApplicationAnswer(
            plan=plan_id, state=state.value, done=done, total=total, words=words if personal or not progress else ""
        )
    )


async def approve_plan(request: web.Request) -> web.StreamResponse:
    """Let a held plan go ahead."""
    services = context_of(request).services
    held = await _load(services, request.match_info["id"])
    async with audited(request, "plan.approved", {"plan": held.id, "receiver": held.receiver}):
        plan = await services.sync.approve(held.id, asked_by=caller_of(request).name)
    return accepted(services, plan)


async def refuse_plan(request: web.Request) -> web.StreamResponse:
    """Say no to a held plan."""
    services = context_of(request).services
    body = await read_body(request, RefusalBody)
    held = await _load(services, request.match_info["id"])
    detail = {"plan": held.id, "receiver": held.receiver, "reason": body.reason}
    async with audited(request, "plan.refused", detail):
        plan = await services.sync.decline(held.id, asked_by=caller_of(request).name, reason=body.reason)
    return reply(plan_answer(services, plan, personal=True))


async def _load(services: Services, plan_id: str) -> Plan:
    plan = await services.plans.load(plan_id)
    if plan is None:
        raise NotFound("There are no changes with this id.", remedy="`gatepost plan list` shows the ids.")
    return plan


def accepted(services: Services, plan: Plan) -> web.Response:
    """202 with a plan that is being written, and where to look at it."""
    answer = plan_answer(services, plan, personal=True)
    return reply(answer, status=HTTPStatus.ACCEPTED, headers={"Location": f"/api/v1/plans/{plan.id}"})


def _summary(services: Services, plan: Plan) -> dict[str, Any]:
    progress = services.sync.progress(plan.id)
    return {
        "id": plan.id,
        "receiver": plan.receiver,
        "created": plan.created,
        "state": plan.state.value,
        "reason": plan.reason,
        "added": plan.count(ChangeKind.ADDED),
        "changed": plan.count(ChangeKind.CHANGED),
        "removed": plan.count(ChangeKind.REMOVED),
        "unchanged": plan.unchanged,
        "done": plan.done,
        "gaining": len({_change_serial(change) for change in plan.changes if _moved(change.before, change.after)}),
        "losing": len({_change_serial(change) for change in plan.changes if _moved(change.after, change.before)}),
        "wire_s": round(plan.wire_s, 3),
        "by_hand": plan.receiver in services.visit_sheets.names,
        "hold": plan.hold,
        "outcome": plan.outcome,
        "snapshot": plan.snapshot,
        "receipt": plan.receipt,
        "base_revision": plan.base_revision,
        "roster_digest": plan.roster_digest,
        "progress": ProgressAnswer(done=progress[0], total=progress[1], words=progress[2]) if progress else None,
    }


def plan_answer(services: Services, plan: Plan, *, personal: bool) -> PlanAnswer:
    """A plan in full; sentences that may name people only when `personal`."""
    shown: dict[str, Any] = {"left_out": list(plan.left_out)} if personal else {}
    changes = [_change(change, personal=personal) for change in plan.changes]
    return PlanAnswer(**_summary(services, plan), changes=changes, **shown)


def _change_serial(change: Change) -> int:
    """Whom a change is about."""
    slot = change.after or change.before
    return slot.serial if slot else 0


def _moved(before: Slot | None, after: Slot | None) -> dict[str, list[int]]:
    """The pairs of position and output that are in `after` and not in `before`."""
    new = (after.pairs if after else frozenset()) - (before.pairs if before else frozenset())
    return {str(place): sorted(o for p, o in new if p == place) for place in sorted({p for p, _ in new})}


def _change(change: Change, *, personal: bool) -> ChangeAnswer:
    shown = {"words": change.words} if personal else {}
    return ChangeAnswer(
        kind=change.kind.value,
        slot=change.slot,
        serial=write_serial(_change_serial(change)),
        before=pairs(change.before) if change.before else None,
        after=pairs(change.after) if change.after else None,
        revoked=change.revoked,
        guarded=change.guarded,
        gains=_moved(change.before, change.after),
        loses=_moved(change.after, change.before),
        **shown,
    )


OPERATIONS = (
    Operation(
        id="listPlans",
        method="GET",
        path="/api/v1/plans",
        summary="Plans, newest first",
        tag="plans",
        scope=Scope.VIEW,
        handler=list_plans,
        query=PlansQuery,
        answer=PlansAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="createPlan",
        method="POST",
        path="/api/v1/plans",
        summary="Preview a plan (200), or bring a receiver to the roster (202)",
        tag="plans",
        scope=Scope.ROSTER,
        handler=create_plan,
        body=PlanBody,
        answer=PlanAnswer,
        status=202,
        others=(200,),
        problems=("not-found", "unsupported", "refused", *LINE_PROBLEMS),
        repeatable=True,
        located=True,
    ),
    Operation(
        id="getPlan",
        method="GET",
        path="/api/v1/plans/{id}",
        summary="One plan with all of its changes and its progress",
        tag="plans",
        scope=Scope.VIEW,
        handler=get_plan,
        answer=PlanAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="getApplication",
        method="GET",
        path="/api/v1/plans/{id}/application",
        summary="How the writing of a plan goes",
        tag="plans",
        scope=Scope.VIEW,
        handler=get_application,
        answer=ApplicationAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="approvePlan",
        method="POST",
        path="/api/v1/plans/{id}/application",
        summary="Let a held plan go ahead",
        tag="plans",
        scope=Scope.ROSTER,
        handler=approve_plan,
        answer=PlanAnswer,
        status=202,
        problems=("not-found", "refused", *LINE_PROBLEMS),
        repeatable=True,
        located=True,
    ),
    Operation(
        id="refusePlan",
        method="POST",
        path="/api/v1/plans/{id}/refusal",
        summary="Say no to a held plan",
        tag="plans",
        scope=Scope.ROSTER,
        handler=refuse_plan,
        body=RefusalBody,
        answer=PlanAnswer,
        problems=("not-found", "refused"),
        repeatable=True,
    ),
)
