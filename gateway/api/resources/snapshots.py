"""Snapshots: taken, listed, sent and taken in, compared."""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_bytes, read_query
from gateway.api.context import context_of
from gateway.api.cursors import read_text, write_cursor
from gateway.api.faults import RequestFault
from gateway.api.models.snapshots import (
    ComparisonAnswer,
    ComparisonBody,
    DifferenceAnswer,
    ReceiverSnapshotsQuery,
    SnapshotAnswer,
    SnapshotDocument,
    SnapshotsAnswer,
    SnapshotsQuery,
)
from gateway.api.operations import READING_PROBLEMS, Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.transmitter import write_serial
from gateway.ports import SlotDifference, SnapshotHead

__all__ = [
    "OPERATIONS",
    "compare",
    "get_snapshot",
    "import_snapshot",
    "list_receiver_snapshots",
    "list_snapshots",
    "snapshot_answer",
    "take_snapshot",
]


async def list_snapshots(request: web.Request) -> web.StreamResponse:
    """A page of snapshots, newest first."""
    query = read_query(request, SnapshotsQuery)
    return await _page(context_of(request).services, query, query.receiver)


async def list_receiver_snapshots(request: web.Request) -> web.StreamResponse:
    """A page of one receiver's snapshots, newest first."""
    services, receiver = context_of(request).services, request.match_info["id"]
    services.live.receiver(receiver)
    return await _page(services, read_query(request, ReceiverSnapshotsQuery), receiver)


async def _page(services: Services, query: ReceiverSnapshotsQuery, receiver: str | None) -> web.Response:
    before = read_text("snapshots", query.cursor) if query.cursor else None
    found = await services.snapshots.heads(receiver, limit=query.limit + 1, before=before)
    page = found[: query.limit]
    return reply(
        SnapshotsAnswer(
            snapshots=[snapshot_answer(head) for head in page],
            next=write_cursor("snapshots", page[-1].id) if len(found) > len(page) else None,
        )
    )


async def take_snapshot(request: web.Request) -> web.StreamResponse:
    """Archive what the receiver holds now. Its memory is read only as far as it has changed."""
    services, receiver = context_of(request).services, request.match_info["id"]
    services.live.receiver(receiver)
    async with audited(request, "snapshot.taken", {"receiver": receiver}):
        head = await services.snapshots.take(receiver)
    return _created(head)


async def get_snapshot(request: web.Request) -> web.StreamResponse:
    """The snapshot's file as it is kept, to be archived elsewhere."""
    snapshot_id = request.match_info["id"]
    content = await context_of(request).services.snapshots.export(snapshot_id)
    headers = {
        "Content-Type": "application/json",
        "Content-Disposition": f'attachment; filename="{snapshot_id}.json"',
        "Cache-Control": "private, no-cache",
    }
    return web.Response(body=content, headers=headers)


async def import_snapshot(request: web.Request) -> web.StreamResponse:
    """Keep a file from elsewhere, once it fits the schema and its own checksum. It gets an id of its own."""
    context = context_of(request)
    if request.content_type != "application/json":
        raise RequestFault(
            "body-type-unsupported",
            "A snapshot is a JSON file.",
            remedy="Send it with Content-Type: application/json.",
            headers={"Accept": "application/json"},
        )
    content = await read_bytes(request, context.limits.snapshot_bytes)
    async with audited(request, "snapshot.imported", {"bytes": len(content)}):
        head = await context.services.snapshots.take_in(content)
    return _created(head)


async def compare(request: web.Request) -> web.StreamResponse:
    """Two snapshots, or a snapshot and what a receiver holds: every transmitter and setting that differs, in words."""
    services = context_of(request).services
    body = await read_body(request, ComparisonBody)
    found = await services.snapshots.compare(body.left, body.right)
    return reply(
        ComparisonAnswer(
            left=found.left,
            right=found.right,
            alike=found.alike,
            slots=[_difference(each) for each in found.slots],
            settings=list(found.settings),
            modes=list(found.modes),
            limits=list(found.limits),
            notes=list(found.notes),
        )
    )


def snapshot_answer(head: SnapshotHead) -> SnapshotAnswer:
    """A snapshot without its slots."""
    return SnapshotAnswer(
        id=head.id,
        receiver=head.receiver,
        taken=head.taken,
        clock_trusted=head.clock_trusted,
        reason=head.reason,
        serial=head.serial,
        revision=head.revision,
        slots=head.slots,
    )


def _created(head: SnapshotHead) -> web.Response:
    location = {"Location": f"/api/v1/snapshots/{head.id}"}
    return reply(snapshot_answer(head), status=HTTPStatus.CREATED, headers=location)


def _difference(found: SlotDifference) -> DifferenceAnswer:
    slot = found.after or found.before
    return DifferenceAnswer(
        kind=found.kind, serial=write_serial(found.serial), slot=slot.number if slot else 0, words=found.words
    )


OPERATIONS = (
    Operation(
        id="listSnapshots",
        method="GET",
        path="/api/v1/snapshots",
        summary="Snapshots, newest first",
        tag="snapshots",
        scope=Scope.VIEW,
        handler=list_snapshots,
        query=SnapshotsQuery,
        answer=SnapshotsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="importSnapshot",
        method="POST",
        path="/api/v1/snapshots",
        summary="Keep a snapshot's file that comes from another site",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=import_snapshot,
        body=SnapshotDocument,
        answer=SnapshotAnswer,
        status=201,
        problems=("refused",),
        located=True,
    ),
    Operation(
        id="getSnapshot",
        method="GET",
        path="/api/v1/snapshots/{id}",
        summary="A snapshot's file, whole",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=get_snapshot,
        problems=("not-found", "refused"),
    ),
    Operation(
        id="takeSnapshot",
        method="POST",
        path="/api/v1/receivers/{id}/snapshots",
        summary="Archive what a receiver holds now",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=take_snapshot,
        answer=SnapshotAnswer,
        status=201,
        problems=READING_PROBLEMS,
        repeatable=True,
        located=True,
    ),
    Operation(
        id="listReceiverSnapshots",
        method="GET",
        path="/api/v1/receivers/{id}/snapshots",
        summary="A receiver's snapshots, newest first",
        tag="snapshots",
        scope=Scope.VIEW,
        handler=list_receiver_snapshots,
        query=ReceiverSnapshotsQuery,
        answer=SnapshotsAnswer,
        problems=("not-found", "cursor-invalid"),
    ),
    Operation(
        id="compareSnapshots",
        method="POST",
        path="/api/v1/comparisons",
        summary="What differs between two snapshots, or a snapshot and a receiver",
        tag="snapshots",
        scope=Scope.ROSTER,
        handler=compare,
        body=ComparisonBody,
        answer=ComparisonAnswer,
        problems=("not-found", "refused"),
    ),
)
