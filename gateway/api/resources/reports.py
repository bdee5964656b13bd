"""The papers of a site as data, as a page that prints well, and as a table for a spreadsheet.

Each says who has access to what, so each reading stands in the audit.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from aiohttp import web
from pydantic import BaseModel

from gateway.api.auditing import audited
from gateway.api.bodies import read_query
from gateway.api.context import context_of
from gateway.api.models.papers import AccessAnswer, AccessQuery, HandoverAnswer, PaperQuery, RetentionAnswer
from gateway.api.operations import Handler, Operation
from gateway.api.papers.markup import POLICY
from gateway.api.papers.pages import access_page, handover_page
from gateway.api.papers.spreadsheet import access_csv, handover_csv
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.domain.papers import AccessPaper, HandoverPaper

__all__ = ["OPERATIONS"]

P = TypeVar("P", HandoverPaper, AccessPaper)
_HTML, _CSV = "text/html", "text/csv"


@dataclass(frozen=True, slots=True)
class _Paper(Generic[P]):
    """One paper in its three forms. `read` reads the query and notes in the audit who asked; `file` names the table."""

    id: str
    path: str
    summary: str
    table_summary: str
    query: type[PaperQuery]
    answer: type[BaseModel]
    read: Callable[[web.Request], Awaitable[P]]
    page: Callable[[P], bytes]
    table: Callable[[P], bytes]
    file: Callable[[P], str]
    problems: tuple[str, ...] = ()

    def operations(self) -> tuple[Operation, ...]:
        """As data, as a page, as a table."""
        page, table = (
            f"{self.summary}, as a page that prints well",
            f"{self.table_summary}, as a table for a spreadsheet",
        )
        return (
            self._operation("", "", f"{self.summary}, as data", self._data, answer=self.answer),
            self._operation("Page", ".html", page, self._print, answer_type=_HTML),
            self._operation("Table", ".csv", table, self._tabulate, answer_type=_CSV),
        )

    def _operation(self, form: str, ending: str, summary: str, handler: Handler, **answers: Any) -> Operation:
        return Operation(
            id=f"get{self.id}{form}",
            method="GET",
            path=f"/api/v1/reports/{self.path}{ending}",
            summary=summary,
            tag="reports",
            scope=Scope.ROSTER,
            handler=handler,
            query=self.query,
            problems=self.problems,
            **answers,
        )

    async def _data(self, request: web.Request) -> web.StreamResponse:
        """Every reading stands in the audit."""
        return reply(self.answer.model_validate(await self.read(request)))

    async def _print(self, request: web.Request) -> web.StreamResponse:
        """It brings its styles and asks for nothing else. Every reading stands in the audit."""
        return _page(self.page(await self.read(request)))

    async def _tabulate(self, request: web.Request) -> web.StreamResponse:
        """Safe to open in a spreadsheet. Every reading stands in the audit."""
        paper = await self.read(request)
        return _table(self.table(paper), self.file(paper))


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


_HANDOVER: _Paper[HandoverPaper] = _Paper(
    id="Handover",
    path="handover",
    summary="The handover document of the site",
    table_summary="Who has what",
    query=PaperQuery,
    answer=HandoverAnswer,
    read=_handover,
    page=handover_page,
    table=handover_csv,
    file=lambda paper: f"{paper.heading.site}-transmitters.csv",
)
_ACCESS: _Paper[AccessPaper] = _Paper(
    id="Access",
    path="access",
    summary="Who has access to one gate",
    table_summary="Who has access to one gate",
    query=AccessQuery,
    answer=AccessAnswer,
    read=_access,
    page=access_page,
    table=access_csv,
    file=lambda paper: f"{paper.heading.site}-{paper.gate}-access.csv",
    problems=("not-found",),
)

OPERATIONS = (
    *_HANDOVER.operations(),
    *_ACCESS.operations(),
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
