"""Restores and clones, the roster that waits behind them, and clearing a receiver for its removal."""

from __future__ import annotations

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.faults import RequestFault
from gateway.api.models.plans import PlanAnswer
from gateway.api.models.receivers import IdentityAnswer, ReceiverAnswer
from gateway.api.models.restores import ApprovalBody, ResetBody, RestoreBody, RestorePreviewAnswer
from gateway.api.models.snapshots import SnapshotAnswer
from gateway.api.operations import READING_PROBLEMS, Operation
from gateway.api.peer import peer_uid
from gateway.api.replies import reply
from gateway.api.resources.plans import accepted, plan_answer
from gateway.api.resources.receivers import receiver_answer, require_capability
from gateway.api.resources.snapshots import snapshot_answer
from gateway.api.scopes import Scope
from gateway.domain.receiver import Capability, Identity
from gateway.ports import RestoreOrder

__all__ = ["OPERATIONS", "approve", "preview_restore", "reset_receiver", "start_restore"]


async def preview_restore(request: web.Request) -> web.StreamResponse:
    """What a restore would write, what to set at the board first, and what is left out. Nothing is written."""
    services = context_of(request).services
    found = await services.restores.preview(await _order(request))
    return reply(
        RestorePreviewAnswer(
            plan=plan_answer(services, found.plan, personal=True),
            board=list(found.board),
            notes=list(found.notes),
            settings=list(found.settings),
            answers=_identity(found.answers),
            taken_from=_identity(found.taken_from),
            unconfirmed=found.unconfirmed,
        )
    )


async def start_restore(request: web.Request) -> web.StreamResponse:
    """Let the roster wait, archive what the receiver holds, and write the snapshot; the plan shows how it goes."""
    services, order = context_of(request).services, await _order(request)
    detail = {
        "receiver": order.receiver,
        "snapshot": order.snapshot,
        "way": order.way,
        "settings": order.settings,
        "replacement": order.replacement,
    }
    async with audited(request, "snapshot.restored", detail):
        plan = await services.restores.start(order, asked_by=caller_of(request).name)
    return accepted(services, plan)


async def approve(request: web.Request) -> web.StreamResponse:
    """End the roster's wait, one way or the other."""
    services, receiver = context_of(request).services, request.match_info["id"]
    live = services.live.receiver(receiver)
    body = await read_body(request, ApprovalBody)
    async with audited(request, "roster.approved", {"receiver": receiver, "approve": body.approve}):
        await services.waits.approve(receiver, body.approve, asked_by=caller_of(request).name)
    return reply(receiver_answer(services, live))


async def reset_receiver(request: web.Request) -> web.StreamResponse:
    """Clear a receiver for its removal: on the board alone. Answers with the snapshot that is the way back."""
    services, receiver = context_of(request).services, request.match_info["id"]
    if peer_uid(request.transport) is None:
        raise RequestFault(
            "board-only",
            "A receiver is cleared from the board alone.",
            remedy=f"Log in there and use: gatepost reset {receiver}",
        )
    require_capability(services, receiver, Capability.RESET)
    body = await read_body(request, ResetBody)
    async with audited(request, "receiver.cleared", {"receiver": receiver}):
        head = await services.clearing.reset(receiver, typed=body.name, asked_by=caller_of(request).name)
    return reply(snapshot_answer(head))


async def _order(request: web.Request) -> RestoreOrder:
    services, receiver = context_of(request).services, request.match_info["id"]
    require_capability(services, receiver, Capability.SLOTS)
    body = await read_body(request, RestoreBody)
    if (body.settings or body.replacement is not None) and not caller_of(request).may(Scope.ADMIN):
        raise RequestFault(
            "scope-insufficient",
            "Settings and a replacement need the scope admin.",
            remedy="Use a token with the scope admin, or restore the transmitters alone.",
        )
    return RestoreOrder(receiver, body.snapshot, body.way, body.settings, body.replacement)


def _identity(identity: Identity) -> IdentityAnswer:
    return IdentityAnswer(
        maker=identity.maker,
        product=identity.product,
        version=identity.version,
        serial=identity.serial,
        map_name=identity.map_name,
        map_version=identity.map_version,
    )


OPERATIONS = (
    Operation(
        id="previewRestore",
        method="POST",
        path="/api/v1/receivers/{id}/restore-previews",
        summary="What a restore or clone would write, and what to do first",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=preview_restore,
        body=RestoreBody,
        answer=RestorePreviewAnswer,
        problems=READING_PROBLEMS,
    ),
    Operation(
        id="startRestore",
        method="POST",
        path="/api/v1/receivers/{id}/restores",
        summary="Bring a receiver to a snapshot; the roster waits from then on",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=start_restore,
        body=RestoreBody,
        answer=PlanAnswer,
        status=202,
        problems=READING_PROBLEMS,
        repeatable=True,
        located=True,
    ),
    Operation(
        id="approveWait",
        method="POST",
        path="/api/v1/receivers/{id}/approvals",
        summary="Say whether the roster or what the receiver holds is right, where the roster waits",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=approve,
        body=ApprovalBody,
        answer=ReceiverAnswer,
        problems=("not-found", "refused"),
    ),
    Operation(
        id="resetReceiver",
        method="POST",
        path="/api/v1/receivers/{id}/reset",
        summary="Clear a receiver for its removal; over the unix socket on the board alone",
        tag="snapshots",
        scope=Scope.ADMIN,
        handler=reset_receiver,
        body=ResetBody,
        answer=SnapshotAnswer,
        problems=("board-only", "not-proven", *READING_PROBLEMS),
    ),
)
