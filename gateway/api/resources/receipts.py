"""Receipts: listed, handed out as they were signed, and the public keys that verify them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.cursors import read_number, write_cursor
from gateway.api.models.receipts import (
    ReceiptAnswer,
    ReceiptKeyAnswer,
    ReceiptKeysAnswer,
    ReceiptRow,
    ReceiptsAnswer,
    ReceiptsQuery,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.errors import Refused
from gateway.ports import KeptReceipt

__all__ = ["OPERATIONS", "get_receipt", "list_keys", "list_receipts"]


async def list_receipts(request: web.Request) -> web.StreamResponse:
    """A page of receipts, newest first."""
    query = read_query(request, ReceiptsQuery)
    before = read_number("receipts", query.cursor) if query.cursor else 0
    receipts = context_of(request).services.receipts
    found = await receipts.newest(receiver=query.receiver, limit=query.limit + 1, before=before)
    page = found[: query.limit]
    more = write_cursor("receipts", page[-1].number) if len(found) > len(page) else None
    return reply(ReceiptsAnswer(receipts=list(map(_row, page)), next=more))


async def list_keys(request: web.Request) -> web.StreamResponse:
    """The public keys; whoever verifies receipts should have got the key before the receipts."""
    keys = await context_of(request).services.receipts.keys()
    rows = [ReceiptKeyAnswer(id=key.id, algorithm="Ed25519", current=key.current, pem=key.pem) for key in keys]
    return reply(ReceiptKeysAnswer(keys=rows))


async def get_receipt(request: web.Request) -> web.StreamResponse:
    """One receipt as it was signed."""
    kept = await context_of(request).services.receipts.load(request.match_info["id"])
    if kept.fault:
        raise Refused(
            f"The receipt {kept.id} is damaged: {kept.fault}",
            remedy="Put its file back from a copy of the state folder, or bring the roster again for a new one.",
            code="receipt-damaged",
        )
    return reply(ReceiptAnswer(receipt=kept.document["receipt"], signature=kept.document["signature"]))


#: What a damaged receipt has nothing of; null all the same, so that a row always has the same fields.
_STATED = (
    "done", "time", "clock_trusted", "serial", "revision", "transmitters", "roster_digest", "roster_revision", "equal",
    "snapshot", "revoked", "plan", "written", "not_done", "key",
)  # fmt: skip


def _row(kept: KeptReceipt) -> ReceiptRow:
    shown: dict[str, Any] = dict.fromkeys(_STATED)
    if kept.document:
        statement = kept.document["receipt"]
        clock, memory, plan = (statement[part] for part in ("clock", "memory", "plan"))
        roster = statement["roster"] or {"digest": "", "revision": None, "equal": False}
        shown = {
            "done": statement.get("done", "sync"),  # the first form tells of syncs alone
            "time": datetime.fromisoformat(clock["time"]),
            "clock_trusted": clock["trusted"],
            "serial": statement["receiver"]["serial"],
            "revision": memory["revision"],
            "transmitters": memory["transmitters"],
            "roster_digest": roster["digest"],
            "roster_revision": roster["revision"],
            "equal": roster.get("equal", True),
            "snapshot": statement.get("snapshot", ""),
            "revoked": len(statement.get("revoked", ())),
            "plan": plan["id"],
            "written": plan["written"],
            "not_done": plan["not_done"],
            "key": statement["key"],
        }
    return ReceiptRow(id=kept.id, number=kept.number, receiver=kept.receiver, fault=kept.fault, **shown)


OPERATIONS = (
    Operation(
        id="listReceipts",
        method="GET",
        path="/api/v1/receipts",
        summary="Signed receipts of what was proven, newest first",
        tag="receipts",
        scope=Scope.VIEW,
        handler=list_receipts,
        query=ReceiptsQuery,
        answer=ReceiptsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="listReceiptKeys",
        method="GET",
        path="/api/v1/receipts/keys",
        summary="The public keys that verify receipts",
        tag="receipts",
        scope=Scope.VIEW,
        handler=list_keys,
        answer=ReceiptKeysAnswer,
    ),
    Operation(
        id="getReceipt",
        method="GET",
        path="/api/v1/receipts/{id}",
        summary="One receipt as it was signed",
        tag="receipts",
        scope=Scope.VIEW,
        handler=get_receipt,
        answer=ReceiptAnswer,
        problems=("not-found", "refused"),
    ),
)
