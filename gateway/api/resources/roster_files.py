"""The files of a roster that the gateway keeps itself: out and in, its edits, and a first one from the receivers.

It is kept as CSV and TOML; a workbook is made of them when it is asked for, and taken apart when it comes.
"""

from __future__ import annotations

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.cursors import read_number, write_cursor
from gateway.api.edits import edit_answer, edited, from_what_stands, revision_answer, tag_header
from gateway.api.models.people_edits import (
    EditAnswer,
    EditQuery,
    FilesQuery,
    FirstRosterAnswer,
    FirstRosterBody,
    RevisionsAnswer,
    RevisionsQuery,
)
from gateway.api.models.roster import CheckBody
from gateway.api.operations import LINE_PROBLEMS, Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.uploads import UPLOAD_TYPES, read_upload
from gateway.errors import NotFound
from gateway.ports import PutFiles, RosterPair, RosterRevision

__all__ = [
    "OPERATIONS",
    "export_groups",
    "export_ods",
    "export_roster",
    "export_xlsx",
    "import_files",
    "list_edits",
    "read_first",
]

_HOW_MANY_LETTERS = 24  # of a digest in a tag
_BOOK_TYPES = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "ods": "application/vnd.oasis.opendocument.spreadsheet",
}


async def list_edits(request: web.Request) -> web.StreamResponse:
    """A page of edits."""
    query = read_query(request, RevisionsQuery)
    before = read_number("edits", query.cursor) if query.cursor else 0
    found = await context_of(request).services.own_roster.revisions(before=before, limit=query.limit + 1)
    page = found[: query.limit]
    last = write_cursor("edits", page[-1].number) if len(found) > len(page) else None
    return reply(RevisionsAnswer(edits=[revision_answer(each) for each in page], next=last))


async def export_roster(request: web.Request) -> web.StreamResponse:
    """The roster file, byte by byte as it is kept."""
    pair, headers = await _pair(request, "roster.csv")
    return web.Response(body=pair.roster, headers={**headers, "Content-Type": "text/csv"})


async def export_groups(request: web.Request) -> web.StreamResponse:
    """The groups file, byte by byte as it is kept."""
    pair, headers = await _pair(request, "groups.toml")
    if pair.groups is None:
        raise NotFound("This roster has no groups file.", remedy="Its rows have rights of their own.")
    return web.Response(body=pair.groups, headers={**headers, "Content-Type": "application/toml"})


async def export_xlsx(request: web.Request) -> web.StreamResponse:
    """Roster and groups as one XLSX workbook."""
    return await _book(request, "xlsx")


async def export_ods(request: web.Request) -> web.StreamResponse:
    """Roster and groups as one ODS document."""
    return await _book(request, "ods")


async def import_files(request: web.Request) -> web.StreamResponse:
    """Whole files in place of those that are kept; nothing is changed when they have a fault."""
    upload = await read_upload(request)
    edit = PutFiles(RosterPair(upload.roster, upload.groups))
    detail = {"bytes": len(upload.roster)}
    return await edited(
        request, [edit], detail=detail, subject="files", basis=from_what_stands(request), how="imported"
    )


async def read_first(request: web.Request) -> web.StreamResponse:
    """Read the receivers and write a roster of what they hold; keep it where it is asked for."""
    body = await read_body(request, FirstRosterBody)
    first_rosters = context_of(request).services.first_rosters
    who = caller_of(request).name
    async with audited(request, "roster.read_from_receivers", {"receivers": body.receivers, "keep": body.keep}):
        first = await first_rosters.read(body.receivers)
        outcome = await first_rosters.keep(first, who=who) if body.keep else None
    return reply(
        FirstRosterAnswer(
            roster=first.pair.roster.decode(),
            groups=(first.pair.groups or b"").decode(),
            transmitters=first.transmitters,
            holders=first.holders,
            unnamed=first.unnamed,
            group_names=list(first.groups),
            notes=list(first.notes),
            edit=edit_answer(outcome) if outcome else None,
        )
    )


async def _book(request: web.Request, form: str) -> web.Response:
    query, name = read_query(request, FilesQuery), f"roster.{form}"
    async with audited(request, "roster.exported", {"file": name}):
        revision, content = await context_of(request).services.own_roster.book(form, query.revision)
    return web.Response(body=content, headers={**_headers(revision, name), "Content-Type": _BOOK_TYPES[form]})


async def _pair(request: web.Request, name: str) -> tuple[RosterPair, dict[str, str]]:
    query = read_query(request, FilesQuery)
    async with audited(request, "roster.exported", {"file": name}):
        revision, pair = await context_of(request).services.own_roster.files(query.revision)
    return pair, _headers(revision, name)


def _headers(revision: RosterRevision, name: str) -> dict[str, str]:
    return {
        "ETag": tag_header(revision.digest[:_HOW_MANY_LETTERS]),
        "Content-Disposition": f'attachment; filename="{name}"',
        "Cache-Control": "private, no-cache",
    }


OPERATIONS = (
    Operation(
        id="listEdits",
        method="GET",
        path="/api/v1/roster/edits",
        summary="Edits of a roster that this gateway keeps: who, when, what",
        tag="people",
        scope=Scope.ROSTER,
        handler=list_edits,
        query=RevisionsQuery,
        answer=RevisionsAnswer,
        problems=("roster-elsewhere", "cursor-invalid"),
    ),
    Operation(
        id="exportRoster",
        method="GET",
        path="/api/v1/roster/files/roster.csv",
        summary="The roster file that this gateway keeps",
        tag="people",
        scope=Scope.ROSTER,
        handler=export_roster,
        query=FilesQuery,
        answer_type="text/csv",
        problems=("roster-elsewhere", "not-found"),
    ),
    Operation(
        id="exportGroups",
        method="GET",
        path="/api/v1/roster/files/groups.toml",
        summary="The groups file that this gateway keeps",
        tag="people",
        scope=Scope.ROSTER,
        handler=export_groups,
        query=FilesQuery,
        answer_type="application/toml",
        problems=("roster-elsewhere", "not-found"),
    ),
    Operation(
        id="exportXlsx",
        method="GET",
        path="/api/v1/roster/files/roster.xlsx",
        summary="The roster that this gateway keeps, with its groups, as an XLSX workbook",
        tag="people",
        scope=Scope.ROSTER,
        handler=export_xlsx,
        query=FilesQuery,
        answer_type=_BOOK_TYPES["xlsx"],
        problems=("roster-elsewhere", "not-found", "workbook-unfit"),
    ),
    Operation(
        id="exportOds",
        method="GET",
        path="/api/v1/roster/files/roster.ods",
        summary="The roster that this gateway keeps, with its groups, as an ODS document",
        tag="people",
        scope=Scope.ROSTER,
        handler=export_ods,
        query=FilesQuery,
        answer_type=_BOOK_TYPES["ods"],
        problems=("roster-elsewhere", "not-found", "workbook-unfit"),
    ),
    Operation(
        id="importRoster",
        method="PUT",
        path="/api/v1/roster/files",
        summary="Replace the files of a roster that this gateway keeps; If-Match where there are some",
        tag="people",
        scope=Scope.ROSTER,
        handler=import_files,
        query=EditQuery,
        body=CheckBody,
        body_types=UPLOAD_TYPES,
        answer=EditAnswer,
        problems=(
            "roster-elsewhere", "roster-faulty", "precondition-failed", "precondition-required",
        ),
    ),
    Operation(
        id="readFirstRoster",
        method="POST",
        path="/api/v1/roster/first-rosters",
        summary="A roster of what the receivers hold; changes nothing on any of them",
        tag="people",
        scope=Scope.ROSTER,
        handler=read_first,
        body=FirstRosterBody,
        body_required=False,
        answer=FirstRosterAnswer,
        problems=(
            "not-found", "unsupported", "nothing-held", "first-roster-faulty", "roster-elsewhere", "roster-exists",
            "refused", *LINE_PROBLEMS,
        ),
    ),
)  # fmt: skip
