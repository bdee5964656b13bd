"""The roster: its state, asking the source now, and checking a file without putting it in force."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.models.roster import (
    AcceptanceAnswer,
    CheckAnswer,
    CheckBody,
    DateChangeAnswer,
    FaultAnswer,
    RosterAnswer,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.uploads import UPLOAD_TYPES, read_upload
from gateway.domain.date_changes import DateChange
from gateway.domain.roster import Fault
from gateway.ports import RosterState

__all__ = ["OPERATIONS", "check_roster", "fetch_roster", "get_roster"]


async def get_roster(request: web.Request) -> web.StreamResponse:
    """The roster in force."""
    services = context_of(request).services
    personal = caller_of(request).may(Scope.ROSTER)
    return reply(_state(services.roster.state(), services.dates.next_change(), personal=personal))


async def fetch_roster(request: web.Request) -> web.StreamResponse:
    """Ask the source now. What it said, faults as well, is in the answer."""
    services = context_of(request).services
    async with audited(request, "roster.fetched", {}):
        state = await services.roster.fetch()
    return reply(_state(state, services.dates.next_change(), personal=True))


async def check_roster(request: web.Request) -> web.StreamResponse:
    """Read a whole file and tell every fault. In a thread, for a large file takes a while to read."""
    services = context_of(request).services
    upload = await read_upload(request)
    facts = services.facts or None
    checked = await asyncio.to_thread(services.reader.check, upload.roster, upload.groups, facts)
    return reply(
        CheckAnswer(
            ok=not checked.faults,
            transmitters=checked.transmitters,
            holders=checked.holders,
            faults=_faults(checked.faults),
            warnings=_faults(checked.warnings),
        )
    )


def _state(state: RosterState, change: DateChange | None, *, personal: bool) -> RosterAnswer:
    accepted = state.accepted
    shown = {"faults": _faults(state.faults), "warnings": _faults(state.warnings)} if personal else {}
    return RosterAnswer(
        place=state.place,
        transmitters=len(state.roster.entries) if state.roster else None,
        accepted=(
            AcceptanceAnswer(digest=accepted.digest, time=accepted.time, revision=accepted.revision)
            if accepted
            else None
        ),
        last_fetch=state.last_fetch,
        last_good=state.last_good,
        problem=state.problem,
        remedy=state.remedy,
        unreachable=state.unreachable,
        fault_count=len(state.faults),
        warning_count=len(state.warnings),
        next_run=state.next_run,
        next_change=DateChangeAnswer(time=change.time, begin=len(change.begin), end=len(change.end))
        if change
        else None,
        **shown,
    )


def _faults(faults: Sequence[Fault]) -> list[FaultAnswer]:
    return [
        FaultAnswer(file=fault.file, row=fault.row, column=fault.column, found=fault.found, remedy=fault.remedy)
        for fault in faults
    ]


OPERATIONS = (
    Operation(
        id="getRoster",
        method="GET",
        path="/api/v1/roster",
        summary="The roster in force and what its source last said",
        tag="roster",
        scope=Scope.VIEW,
        handler=get_roster,
        answer=RosterAnswer,
    ),
    Operation(
        id="fetchRoster",
        method="POST",
        path="/api/v1/roster/fetches",
        summary="Ask the source now",
        tag="roster",
        scope=Scope.ROSTER,
        handler=fetch_roster,
        answer=RosterAnswer,
        problems=("roster-unreachable", "roster-refused"),
    ),
    Operation(
        id="checkRoster",
        method="POST",
        path="/api/v1/roster/checks",
        summary="Check a roster file; changes nothing",
        tag="roster",
        scope=Scope.ROSTER,
        handler=check_roster,
        body=CheckBody,
        body_types=UPLOAD_TYPES,
        answer=CheckAnswer,
    ),
)
