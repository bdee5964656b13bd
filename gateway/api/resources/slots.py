"""Slots of a receiver, from its mirror: by page, searched, and conditional on the mirror's revision."""

from __future__ import annotations

from collections.abc import Mapping

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.cursors import read_number, write_cursor
from gateway.api.etags import make_tag
from gateway.api.models.slots import SlotAnswer, SlotsAnswer, SlotsQuery
from gateway.api.operations import Operation
from gateway.api.replies import not_modified, reply_tagged
from gateway.api.resources.receivers import require_capability
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability, Slot
from gateway.domain.transmitter import write_serial
from gateway.errors import Refused

__all__ = ["OPERATIONS", "list_slots", "pairs"]


async def list_slots(request: web.Request) -> web.StreamResponse:
    """A page of slots."""
    services, receiver = context_of(request).services, request.match_info["id"]
    require_capability(services, receiver, Capability.SLOTS)
    query = read_query(request, SlotsQuery)
    after = read_number("slots", query.cursor) if query.cursor else 0
    mirror = _mirror(services, receiver)
    personal = caller_of(request).may(Scope.ROSTER)
    tag = _tag(services, mirror, personal, query)
    if found := not_modified(request, tag):
        return found
    return reply_tagged(request, _page(services, mirror, query, after, personal), tag)


def pairs(slot: Slot) -> dict[str, list[int]]:
    """Output numbers by position number; positions that work nothing are left out."""
    return {str(place): sorted(outputs) for place, outputs in enumerate(slot.outputs, 1) if outputs}


def _mirror(services: Services, receiver: str) -> Mirror:
    mirror = services.mirrors.load(receiver)
    if mirror is None:
        raise Refused(
            f"The memory of {receiver} has not been read yet.",
            remedy="Wait until the receiver is online; its state says what is missing.",
            code="mirror-unread",
        )
    return mirror


def _tag(services: Services, mirror: Mirror, personal: bool, query: SlotsQuery) -> str:
    roster = services.roster.state().roster
    digest = roster.digest if roster and personal else ""
    revoked = sorted(revocation.serial for revocation in services.revocations.all())
    return make_tag(
        "slots", mirror.receiver, mirror.identity.serial, mirror.revision, len(mirror.slots), digest, revoked, personal,
        query.cursor, query.limit, query.q,
    )  # fmt: skip


def _page(services: Services, mirror: Mirror, query: SlotsQuery, after: int, personal: bool) -> SlotsAnswer:
    holders = _holders(services) if personal else {}
    revoked = {revocation.serial for revocation in services.revocations.all()}
    wanted = query.q.strip().casefold()
    found = [
        slot
        for _, slot in sorted(mirror.slots.items())
        if not wanted or _matches(slot, wanted, holders, personal=personal)
    ]
    rest = [slot for slot in found if slot.number > after]
    page = rest[: query.limit]
    return SlotsAnswer(
        receiver=mirror.receiver,
        revision=mirror.revision,
        total=len(found),
        slots=[_slot(slot, holders, revoked, personal=personal) for slot in page],
        next=write_cursor("slots", page[-1].number) if len(rest) > len(page) else None,
    )


def _holders(services: Services) -> dict[int, str]:
    roster = services.roster.state().roster
    return {entry.serial: entry.holder for entry in roster.entries} if roster else {}


def _matches(slot: Slot, wanted: str, holders: Mapping[int, str], *, personal: bool) -> bool:
    if wanted in write_serial(slot.serial):
        return True
    return personal and (wanted in slot.name.casefold() or wanted in holders.get(slot.serial, "").casefold())


def _slot(slot: Slot, holders: Mapping[int, str], revoked: set[int], *, personal: bool) -> SlotAnswer:
    named = {"name": slot.name, "holder": holders.get(slot.serial)} if personal else {}
    return SlotAnswer(
        number=slot.number,
        serial=write_serial(slot.serial),
        kind=slot.kind,
        outputs=pairs(slot),
        flags=slot.flags,
        revoked=slot.serial in revoked,
        **named,
    )


OPERATIONS = (
    Operation(
        id="listSlots",
        method="GET",
        path="/api/v1/receivers/{id}/slots",
        summary="What the receiver's memory holds, by page",
        tag="receivers",
        scope=Scope.VIEW,
        handler=list_slots,
        query=SlotsQuery,
        answer=SlotsAnswer,
        problems=("not-found", "unsupported", "refused", "cursor-invalid"),
        conditional=True,
    ),
)
