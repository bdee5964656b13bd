"""The papers of a site as data, as a page that prints well, and as a table for a spreadsheet.

Each says who has access to what, so each reading stands in the audit.
"""

from __future__ import annotations

from collections.abc import Mapping

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.models.papers import AccessAnswer, AccessQuery, HandoverAnswer, PaperQuery, RetentionAnswer
from gateway.api.operations import Operation
from gateway.api.papers.markup import POLICY
from gateway.api.papers.pages import access_page, handover_page
from gateway.api.papers.spreadsheet import access_csv, handover_csv
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.papers import AccessPaper, HandoverPaper

__all__ = ["OPERATIONS"]

_HTML, _CSV = "text/html", "text/csv"


async def get_handover(request: web.Request) -> web.StreamResponse:
    """The handover document as data."""
    return reply(HandoverAnswer.model_validate(await _handover(request)))


async def get_handover_page(request: web.Request) -> web.StreamResponse:
    """The handover document as a page."""
    return _page(handover_page(await _handover(request)))


async def get_handover_table(request: web.Request) -> web.StreamResponse:
    """Who has what as a table."""
    paper = await _handover(request)
    return _table(handover_csv(paper), f"{paper.heading.site}-transmitters.csv")


async def get_access(request: web.Request) -> web.StreamResponse:
    """Who has access to one gate, as data."""
    return reply(AccessAnswer.model_validate(await _access(request)))


async def get_access_page(request: web.Request) -> web.StreamResponse:
    """Who has access to one gate, as a page."""
    return _page(access_page(await _access(request)))


async def get_access_table(request: web.Request) -> web.StreamResponse:
    """Who has access to one gate, as a table."""
    paper = await _access(request)
    return _table(access_csv(paper), f"{paper.heading.site}-{paper.gate}-access.csv")


async def get_retention(request: web.Request) -> web.StreamResponse:
    """What is kept about people, and for how long. It names nobody, so it is nothing for the audit."""
    return reply(RetentionAnswer.model_validate(context_of(request).services.papers.retention()))


async def _handover(request: web.Request) -> HandoverPaper:
    query = read_query(request, PaperQuery)
    async with audited(request, "report.handover", {"named": query.named}):
        return await context_of(request).services.papers.handover(named=query.named)


async def _access(request: web.Request) -> AccessPaper:
    query = read_query(request, AccessQuery)
    async with audited(request, "report.access", {"gate": query.gate, "named": query.named}):
        return await context_of(request).services.papers.access(query.gate, named=query.named)


def _page(body: bytes) -> web.Response:
    return _file(body, f"{_HTML}; charset=utf-8", {"Content-Security-Policy": POLICY})


def _table(body: bytes, name: str) -> web.Response:
    return _file(body, f"{_CSV}; charset=utf-8", {"Content-Disposition": f'attachment; filename="{name}"'})


def _file(body: bytes, content_type: str, headers: Mapping[str, str]) -> web.Response:
    return web.Response(body=body, headers={"Content-Type": content_type, "Cache-Control": "no-store", **headers})


OPERATIONS = (
    Operation(
        id="getHandover",
        method="GET",
        path="/api/v1/reports/handover",
        summary="The handover document of the site, as data",
        tag="reports",
        scope=Scope.ROSTER,
        handler=get_handover,
        query=PaperQuery,
        answer=HandoverAnswer,
    ),
    Operation(
        id="getHandoverPage",
        method="GET",
        path="/api/v1/reports/handover.html",
        summary="The handover document of the site, as a page that prints well",
        tag="reports",
        scope=Scope.ROSTER,
        handler=get_handover_page,
        query=PaperQuery,
        answer_type=_HTML,
    ),
    Operation(
        id="getHandoverTable",
        method="GET",
        path="/api/v1/reports/handover.csv",
        summary="Who has what, as a table for a spreadsheet",
        tag="reports",
        scope=Scope.ROSTER,
        handler=get_handover_table,
        query=PaperQuery,
        answer_type=_CSV,
    ),
    Operation(
        id="getAccess",
        method="GET",
        path="/api/v1/reports/access",
        summary="Who has access to one gate, as data",
        tag="reports",
        scope=Scope.ROSTER,
        handler=get_access,
        query=AccessQuery,
        answer=AccessAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="getAccessPage",
        method="GET",
        path="/api/v1/reports/access.html",
        summary="Who has access to one gate, as a page that prints well",
        tag="reports",
        scope=Scope.ROSTER,
        handler=get_access_page,
        query=AccessQuery,
        answer_type=_HTML,
        problems=("not-found",),
    ),
    Operation(
        id="getAccessTable",
        method="GET",
        path="/api/v1/reports/access.csv",
        summary="Who has access to one gate, as a table for a spreadsheet",
        tag="reports",
        scope=Scope.ROSTER,
        handler=get_access_table,
        query=AccessQuery,
        answer_type=_CSV,
        problems=("not-found",),
    ),
    Operation(
        id="getRetention",
        method="GET",
        path="/api/v1/reports/retention",
        summary="What is kept about people, and for how long",
        tag="reports",
        scope=Scope.VIEW,
        handler=get_retention,
        answer=RetentionAnswer,
    ),
)
