"""Reading the audit."""

from __future__ import annotations

from aiohttp import web

from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.cursors import read_number, write_cursor
from gateway.api.models.audit import AuditAnswer, AuditCheckAnswer, AuditRowAnswer
from gateway.api.operations import Operation
from gateway.api.paging import PageQuery
from gateway.api.replies import reply
from gateway.api.scopes import Scope

__all__ = ["OPERATIONS", "check_audit", "list_audit"]


async def list_audit(request: web.Request) -> web.StreamResponse:
    """A page of the audit, newest first."""
    query = read_query(request, PageQuery)
    before = read_number("audit", query.cursor) if query.cursor else 0
    found = await context_of(request).services.audit.read(limit=query.limit + 1, before=before)
    page = found[: query.limit]
    return reply(
        AuditAnswer(
            rows=[
                AuditRowAnswer(
                    number=row.number,
                    time=row.time,
                    who=row.who,
                    what=row.what,
                    outcome=row.outcome,
                    detail=dict(row.detail) if row.detail is not None else None,
                    hash=row.hash,
                )
                for row in page
            ],
            next=write_cursor("audit", page[-1].number) if len(found) > len(page) else None,
        )
    )


async def check_audit(request: web.Request) -> web.StreamResponse:
    """Every row computed anew: a row that was changed, taken out or put in is found and named."""
    check = await context_of(request).services.audit.verify()
    return reply(
        AuditCheckAnswer(
            rows=check.rows,
            head=check.head,
            whole=check.broken is None and not check.problem,
            broken=check.broken,
            problem=check.problem,
        )
    )


OPERATIONS = (
    Operation(
        id="listAudit",
        method="GET",
        path="/api/v1/audit",
        summary="Who changed or asked for what, newest first",
        tag="access",
        scope=Scope.ADMIN,
        handler=list_audit,
        query=PageQuery,
        answer=AuditAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="checkAudit",
        method="GET",
        path="/api/v1/audit/verification",
        summary="Whether the audit is whole, and its newest hash",
        tag="access",
        scope=Scope.ADMIN,
        handler=check_audit,
        answer=AuditCheckAnswer,
    ),
)
