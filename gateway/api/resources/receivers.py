"""Receivers: state, status, and confirming one that was replaced."""

from __future__ import annotations

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.context import context_of
from gateway.api.models.receivers import (
    ConfirmationBody,
    IdentityAnswer,
    InputAnswer,
    LimitsAnswer,
    OutputAnswer,
    ReadingAnswer,
    ReceiverAnswer,
    ReceiversAnswer,
    StatusAnswer,
    WaitAnswer,
)
from gateway.api.operations import LINE_PROBLEMS, Operation
from gateway.api.paging import ShortListQuery, page_after
from gateway.api.replies import reply, reply_tagged
from gateway.api.resources.visit_sheets import visit_answer
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.receiver import Capability, Identity, Limits, Status
from gateway.domain.wait import RosterWait
from gateway.errors import Refused, Unsupported
from gateway.ports import ReceiverFacts

__all__ = [
    "OPERATIONS",
    "confirm_receiver",
    "get_receiver",
    "get_status",
    "list_receivers",
    "receiver_answer",
    "require_capability",
]

#: Links over which the status is read: it is open to everybody, also without the right link password.
_HEARD = frozenset({LinkState.ONLINE, LinkState.PASSWORD_REFUSED})


async def list_receivers(request: web.Request) -> web.StreamResponse:
    """Every receiver, in the order of the settings."""
    services, query = context_of(request).services, read_query(request, ShortListQuery)
    page, more = page_after("receivers", services.live.receivers(), query, lambda live: live.name)
    return reply_tagged(
        request, ReceiversAnswer(receivers=[receiver_answer(services, live) for live in page], next=more)
    )


async def get_receiver(request: web.Request) -> web.StreamResponse:
    """One receiver."""
    services = context_of(request).services
    return reply_tagged(request, receiver_answer(services, services.live.receiver(request.match_info["id"])))


async def get_status(request: web.Request) -> web.StreamResponse:
    """The last good poll, with its age."""
    services = context_of(request).services
    live = services.live.receiver(request.match_info["id"])
    age_s = None if live.read_monotonic is None else round(services.clock.monotonic() - live.read_monotonic, 3)
    return reply(_status(live, services.facts_of(live.name), age_s))


async def confirm_receiver(request: web.Request) -> web.StreamResponse:
    """The receiver that answers now is the right one."""
    services = context_of(request).services
    live = services.live.receiver(request.match_info["id"])
    body = await read_body(request, ConfirmationBody)
    answers = live.identity.serial if live.identity else ""
    if body.serial is not None and body.serial != answers:
        raise Refused(
            f"{answers or 'A receiver without a serial'} answers as {live.name}, not {body.serial}.",
            remedy="Compare the serial with the one on the board, and confirm with the serial that it states.",
            code="identity-differs",
        )
    async with audited(request, "receiver.confirmed", {"receiver": live.name, "serial": answers}):
        await services.keeper.confirm(live.name)
    return reply(receiver_answer(services, services.live.receiver(live.name)))


def require_capability(services: Services, receiver: str, capability: Capability) -> None:
    """Raises NotFound or Unsupported: what a map lacks is absent here."""
    live = services.live.receiver(receiver)
    if capability not in services.capabilities.get(receiver, frozenset(Capability)):
        if live.link is LinkState.BY_HAND:
            raise _by_hand(receiver, capability)
        raise Unsupported(
            f"The receiver {receiver} has no {capability}: its map does not offer that.",
            remedy="See the receiver's capabilities for what it offers.",
        )


def _by_hand(receiver: str, capability: Capability) -> Unsupported:
    """What is done at the board alone, and how the gateway is told of it."""
    then = f", then say so: gatepost visit-sheet holds {receiver} --empty" if capability is Capability.RESET else ""
    return Unsupported(
        f"No line reaches {receiver}, so this can't be done from here ({capability}).",
        remedy=f"It is worked by hand: do it at the board{then}.",
    )


def receiver_answer(services: Services, live: LiveReceiver) -> ReceiverAnswer:
    """One receiver as it is at this moment."""
    mirror = services.mirrors.load(live.name)
    return ReceiverAnswer(
        id=live.name,
        link=live.link.value,
        since=live.since,
        problem=live.problem,
        remedy=live.remedy,
        identity=_identity(live.identity) if live.identity else None,
        limits=_limits(live.limits) if live.limits else None,
        capabilities=sorted(services.capabilities.get(live.name, frozenset(Capability))),
        poll_rate_hz=round(live.poll_rate_hz, 2),
        mirror_revision=live.mirror_revision,
        confirmed=mirror is None or mirror.confirmed,
        slots_used=len(mirror.slots) if mirror else None,
        reading=ReadingAnswer(done=live.reading.done, total=live.reading.total) if live.reading else None,
        waiting=_wait(services.waits.all().get(live.name)),
        visit=visit_answer(services, live.name),
    )


def _wait(wait: RosterWait | None) -> WaitAnswer | None:
    if wait is None:
        return None
    return WaitAnswer(
        reason=wait.reason,
        since=wait.since,
        asked_by=wait.asked_by,
        snapshot=wait.snapshot,
        plan=wait.plan,
        snapshot_approved=wait.kept_digest is not None,
    )


def _identity(identity: Identity) -> IdentityAnswer:
    return IdentityAnswer(
        maker=identity.maker,
        product=identity.product,
        version=identity.version,
        serial=identity.serial,
        map_name=identity.map_name,
        map_version=identity.map_version,
    )


def _limits(limits: Limits) -> LimitsAnswer:
    return LimitsAnswer(
        outputs=limits.outputs,
        inputs=limits.inputs,
        slots=limits.slots,
        positions=limits.positions,
        on_time_min_s=limits.on_time_min_s,
        on_time_max_s=limits.on_time_max_s,
        name_bytes=limits.name_bytes,
    )


def _status(live: LiveReceiver, facts: ReceiverFacts, age_s: float | None) -> StatusAnswer:
    status = live.status or Status((), ())
    return StatusAnswer(
        receiver=live.name,
        link=live.link.value,
        current=live.link in _HEARD and live.status is not None,
        age_s=age_s,
        inputs=[
            InputAnswer(number=number, name=facts.inputs.get(number, ""), state="violated" if violated else "normal")
            for number, violated in enumerate(status.input_violated, 1)
        ],
        outputs=_outputs(status, facts),
        revision=status.revision,
        boot_count=status.boot_count,
        uptime_s=status.uptime_s,
        newest_event=status.newest_event,
        oldest_event=status.oldest_event,
        local_programming=status.local_programming,
        password_set=status.password_set,
        unlocked_s=status.unlocked_s,
        enrolment=status.enrolment.value if status.enrolment else None,
        enrolment_left_s=status.enrolment_left_s,
        busy=status.busy,
        last_refusal=status.last_refusal,
    )


def _outputs(status: Status, facts: ReceiverFacts) -> list[OutputAnswer]:
    modes = status.output_modes or (None,) * len(status.output_closed)
    return [
        OutputAnswer(
            number=number, name=facts.outputs.get(number, ""), closed=closed, mode=mode.value if mode else None
        )
        for number, (closed, mode) in enumerate(zip(status.output_closed, modes, strict=True), 1)
    ]


OPERATIONS = (
    Operation(
        id="listReceivers",
        method="GET",
        path="/api/v1/receivers",
        summary="Every receiver and its link",
        tag="receivers",
        scope=Scope.VIEW,
        handler=list_receivers,
        query=ShortListQuery,
        problems=("cursor-invalid",),
        answer=ReceiversAnswer,
        conditional=True,
    ),
    Operation(
        id="getReceiver",
        method="GET",
        path="/api/v1/receivers/{id}",
        summary="One receiver and its link",
        tag="receivers",
        scope=Scope.VIEW,
        handler=get_receiver,
        answer=ReceiverAnswer,
        problems=("not-found",),
        conditional=True,
    ),
    Operation(
        id="getStatus",
        method="GET",
        path="/api/v1/receivers/{id}/status",
        summary="Inputs and outputs at the last poll, with its age",
        tag="receivers",
        scope=Scope.VIEW,
        handler=get_status,
        answer=StatusAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="confirmReceiver",
        method="POST",
        path="/api/v1/receivers/{id}/confirmation",
        summary="Say that the receiver which answers now is the right one",
        tag="receivers",
        scope=Scope.ADMIN,
        handler=confirm_receiver,
        body=ConfirmationBody,
        body_required=False,
        answer=ReceiverAnswer,
        problems=("not-found", "refused", *LINE_PROBLEMS),
    ),
)
