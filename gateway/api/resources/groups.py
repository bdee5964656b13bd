"""Groups: looked at for any source of the roster, changed where the gateway keeps it itself."""

from __future__ import annotations

from collections import Counter

from aiohttp import web

from gateway.api.bodies import read_body, read_query
from gateway.api.context import context_of
from gateway.api.edits import edited, from_what_stands, tag_header
from gateway.api.faults import Place, RequestFault
from gateway.api.models.people_edits import EditAnswer, EditQuery, GroupAnswer, GroupBody, GroupsAnswer
from gateway.api.operations import Operation
from gateway.api.paging import ShortListQuery, page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.roster import Right
from gateway.errors import NotFound
from gateway.ports import PutGroup, RemoveGroup, RenameGroup, RosterEdit, rights_now

__all__ = ["OPERATIONS", "get_group", "list_groups", "put_group", "remove_group"]


async def list_groups(request: web.Request) -> web.StreamResponse:
    """Every group of the roster in force."""
    services, query = context_of(request).services, read_query(request, ShortListQuery)
    page, more = page_after("groups", _groups(services), query, lambda each: each.name)
    roster = services.roster.state().roster
    kinds = {name: list(kind.positions) for name, kind in roster.kinds.items()} if roster else {}
    answer = GroupsAnswer(groups=list(page), kinds=kinds, editable=services.own_roster.ours, next=more)
    return reply(answer)


async def get_group(request: web.Request) -> web.StreamResponse:
    """One group, with the ETag that a change must name where the gateway keeps the roster."""
    services, name = context_of(request).services, request.match_info["id"]
    found = next((each for each in _groups(services) if each.name.casefold() == name.casefold()), None)
    if found is None:
        raise NotFound("There is no such group.", remedy="List the groups to see their names.")
    own = services.own_roster
    return reply(found, headers={"ETag": tag_header(await own.tag(f"group {name}"))} if own.ours else {})


async def put_group(request: web.Request) -> web.StreamResponse:
    """Make a group, or change it from what stands there."""
    name = request.match_info["id"]
    body = await read_body(request, GroupBody)
    edits: list[RosterEdit] = []
    if body.rights is not None:
        edits.append(PutGroup(name, body.rights))
    if body.name is not None and body.name != name:
        edits.append(RenameGroup(name, body.name))
    if not edits:
        raise RequestFault(
            "body-invalid",
            "Nothing is to change.",
            remedy="Send rights, or another name.",
            places=[Place("write rights, or another name", pointer="#/rights")],
        )
    detail = {"group": name, "name": body.name or name}
    return await edited(request, edits, detail=detail, subject=f"group {name}", basis=from_what_stands(request))


async def remove_group(request: web.Request) -> web.StreamResponse:
    """Gone, where nobody is in it."""
    name = request.match_info["id"]
    return await edited(
        request, [RemoveGroup(name)], detail={"group": name}, subject=f"group {name}", basis=from_what_stands(request)
    )


def _groups(services: Services) -> list[GroupAnswer]:
    roster = services.roster.state().roster
    if roster is None:
        return []
    members = Counter(entry.group for entry in roster.entries if entry.group)
    return [
        GroupAnswer(name=name, rights=_table(rights_now(rights, services.facts)), members=members[name])
        for name, rights in roster.groups.items()
    ]


def _table(rights: tuple[Right, ...]) -> dict[str, dict[str, list[str]]]:
    table: dict[str, dict[str, list[str]]] = {}
    for right in rights:
        table.setdefault(right.receiver, {}).setdefault(right.position, []).append(right.output)
    return table


_PROBLEMS = ("roster-elsewhere", "roster-faulty", "not-found", "precondition-failed", "precondition-required")

OPERATIONS = (
    Operation(
        id="listGroups",
        method="GET",
        path="/api/v1/roster/groups",
        summary="Every group and its rights",
        tag="people",
        scope=Scope.VIEW,
        handler=list_groups,
        query=ShortListQuery,
        answer=GroupsAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="getGroup",
        method="GET",
        path="/api/v1/roster/groups/{id}",
        summary="One group",
        tag="people",
        scope=Scope.VIEW,
        handler=get_group,
        answer=GroupAnswer,
        problems=("not-found",),
    ),
    Operation(
        id="putGroup",
        method="PUT",
        path="/api/v1/roster/groups/{id}",
        summary="Make, change or rename a group of a roster that this gateway keeps; If-Match where it exists",
        tag="people",
        scope=Scope.ROSTER,
        handler=put_group,
        query=EditQuery,
        body=GroupBody,
        answer=EditAnswer,
        problems=(*_PROBLEMS, "group-known"),
    ),
    Operation(
        id="removeGroup",
        method="DELETE",
        path="/api/v1/roster/groups/{id}",
        summary="Remove a group that nobody is in",
        tag="people",
        scope=Scope.ROSTER,
        handler=remove_group,
        query=EditQuery,
        answer=EditAnswer,
        problems=(*_PROBLEMS, "group-in-use"),
    ),
)
