"""Transmitters of a roster that the gateway keeps itself: added, changed, removed."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus

from aiohttp import web

from gateway.api.bodies import read_body
from gateway.api.context import context_of
from gateway.api.edits import edited, tag_header
from gateway.api.etags import require_match
from gateway.api.faults import Place, RequestFault
from gateway.api.models.people_edits import EditAnswer, EditQuery, PersonBody, PersonChangeBody
from gateway.api.operations import Operation
from gateway.api.resources.people import serial_of
from gateway.api.scopes import Scope
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import AddRow, ChangeRow, RemoveRow, RosterEdit

__all__ = ["OPERATIONS", "add_person", "change_person", "remove_person"]

_EDIT_PROBLEMS = ("roster-elsewhere", "roster-faulty", "not-found")


async def add_person(request: web.Request) -> web.StreamResponse:
    """A new row, checked with the whole roster."""
    body = await read_body(request, PersonBody)
    serial = int(body.serial)
    _one_way_to_rights(bool(body.group), bool(body.rights), body.copy_of is not None)
    cells = {
        "holder": body.holder,
        "kind": body.kind,
        "group": body.group,
        "rights": " ".join(body.rights),
        "sites": " ".join(body.sites),
        "valid_from": body.valid_from,
        "valid_until": body.valid_until,
        "note": body.note,
    }
    copy_of = int(body.copy_of) if body.copy_of is not None else None
    cells = {name: text for name, text in cells.items() if text}
    detail = {"serial": body.serial, **cells}

    def not_there_yet(tag: str) -> None:
        if tag:
            raise Refused(
                f"The roster has transmitter {body.serial} already.",
                remedy="Look whose it is; change or remove that row first.",
                code="serial-known",
            )

    return await edited(
        request,
        [AddRow(serial, cells, copy_of)],
        detail=detail,
        subject=f"row {body.serial}",
        basis=not_there_yet,
        status=HTTPStatus.CREATED,
    )


async def change_person(request: web.Request) -> web.StreamResponse:
    """Other texts in one row, from what stands there now."""
    serial = serial_of(request)
    body = await read_body(request, PersonChangeBody)
    _one_way_to_rights(bool(body.group), bool(body.rights), body.copy_of is not None)
    texts = {
        "holder": body.holder,
        "kind": body.kind,
        "group": body.group,
        "rights": None if body.rights is None else " ".join(body.rights),
        "sites": None if body.sites is None else " ".join(body.sites),
        "valid_from": body.valid_from,
        "valid_until": body.valid_until,
        "note": body.note,
    }
    cells = {name: text for name, text in texts.items() if text is not None}
    copy_of = int(body.copy_of) if body.copy_of is not None else None
    edits: list[RosterEdit] = [ChangeRow(serial, cells, copy_of)]
    if body.holder is not None and body.everywhere:
        edits += [ChangeRow(other, {"holder": body.holder}) for other in await _others(request, serial)]
    detail = {"serial": write_serial(serial), **cells}
    return await edited(
        request, edits, detail=detail, subject=f"row {write_serial(serial)}", basis=_from_row(request, serial)
    )


async def remove_person(request: web.Request) -> web.StreamResponse:
    """The row goes; the receivers follow with the next plan, held where the guard says."""
    serial = serial_of(request)
    return await edited(
        request,
        [RemoveRow(serial)],
        detail={"serial": write_serial(serial)},
        subject=f"row {write_serial(serial)}",
        basis=_from_row(request, serial),
    )


def _from_row(request: web.Request, serial: int) -> Callable[[str], None]:
    """A basis: there is such a row, and it is the one that `If-Match` names."""
    header = request.headers.get("If-Match")

    def check(tag: str) -> None:
        if not tag:
            raise NotFound(
                f"The roster has no transmitter {write_serial(serial)}.", remedy="Read its ten digits again, or add it."
            )
        require_match(header, tag_header(tag))

    return check


async def _others(request: web.Request, serial: int) -> list[int]:
    """The other transmitters of the same holder that the kept roster has."""
    services = context_of(request).services
    person = await services.people.card(serial)
    others = [card.serial for card in person.cards if card.serial != serial]
    return [other for other in others if await services.own_roster.tag(f"row {write_serial(other)}")]


def _one_way_to_rights(*ways: bool) -> None:
    if sum(ways) > 1:
        raise RequestFault(
            "body-invalid",
            "A transmitter has a group's rights, its own, or a copy of another's.",
            remedy="Send one of group, rights and copy_of.",
            places=[Place("write one of group, rights and copy_of", pointer="#/group")],
        )


OPERATIONS = (
    Operation(
        id="addPerson",
        method="POST",
        path="/api/v1/people",
        summary="Add a transmitter to a roster that this gateway keeps",
        tag="people",
        scope=Scope.ROSTER,
        handler=add_person,
        query=EditQuery,
        body=PersonBody,
        answer=EditAnswer,
        status=201,
        problems=(*_EDIT_PROBLEMS, "serial-known"),
        repeatable=True,
    ),
    Operation(
        id="changePerson",
        method="PATCH",
        path="/api/v1/people/{serial}",
        summary="Change a transmitter's row: holder, group, rights, dates, note",
        tag="people",
        scope=Scope.ROSTER,
        handler=change_person,
        query=EditQuery,
        body=PersonChangeBody,
        answer=EditAnswer,
        problems=_EDIT_PROBLEMS,
        guarded=True,
    ),
    Operation(
        id="removePerson",
        method="DELETE",
        path="/api/v1/people/{serial}",
        summary="Remove a transmitter from a roster that this gateway keeps",
        tag="people",
        scope=Scope.ROSTER,
        handler=remove_person,
        query=EditQuery,
        answer=EditAnswer,
        problems=(*_EDIT_PROBLEMS, "roster-empty"),
        guarded=True,
    ),
)
