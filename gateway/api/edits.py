"""What all edits of the gateway's own roster share: what they start from, and how they are answered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.etags import require_match
from gateway.api.faults import Place, RequestFault
from gateway.api.models.people_edits import EditAnswer, EditQuery, RevisionAnswer
from gateway.api.models.roster import FaultAnswer
from gateway.api.replies import reply
from gateway.domain.roster import Fault
from gateway.ports import EditOutcome, RosterEdit, RosterRevision

__all__ = ["edit_answer", "edited", "from_what_stands", "revision_answer", "tag_header"]


async def edited(
    request: web.Request,
    edits: Sequence[RosterEdit],
    *,
    detail: Mapping[str, Any],
    subject: str,
    basis: Callable[[str], None],
    how: str = "edited",
    status: int = 200,
) -> web.Response:
    """Make an edit, with its rows in the audit; or only say what it would change, with `preview`.

    Raises RequestFault with every fault that the roster would have.
    """
    own = context_of(request).services.own_roster
    who = caller_of(request).name
    if read_query(request, EditQuery).preview:
        seen = await own.edit(edits, who=who, how=how, subject=subject, basis=basis, preview=True)
        if seen.faults:
            raise _faulty(seen.faults)
        return reply(edit_answer(seen, kept=False))
    async with audited(request, f"roster.{how}", detail):
        outcome = await own.edit(edits, who=who, how=how, subject=subject, basis=basis)
        if outcome.faults:
            raise _faulty(outcome.faults)
    tag = await own.tag(subject)
    return reply(edit_answer(outcome), status=status, headers={"ETag": tag_header(tag)} if tag else {})


def from_what_stands(request: web.Request) -> Callable[[str], None]:
    """A basis: what is there must be the one that `If-Match` names; what isn't there needs none."""
    header = request.headers.get("If-Match")

    def check(tag: str) -> None:
        if tag or header is not None:
            require_match(header, tag_header(tag))

    return check


def tag_header(tag: str) -> str:
    """The ETag of a subject."""
    return f'"{tag}"'


def edit_answer(outcome: EditOutcome, *, kept: bool = True) -> EditAnswer:
    """The outcome of an edit without faults; `kept` is false for a preview."""
    return EditAnswer(
        revision=revision_answer(outcome.revision) if outcome.revision else None,
        words=list(outcome.words),
        warnings=[
            FaultAnswer(file=each.file, row=each.row, column=each.column, found=each.found, remedy=each.remedy)
            for each in outcome.warnings
        ],
        in_force=kept and not outcome.problem,
        problem=outcome.problem,
    )


def revision_answer(revision: RosterRevision) -> RevisionAnswer:
    """One kept edit."""
    return RevisionAnswer(
        number=revision.number,
        time=revision.time,
        who=revision.who,
        how=revision.how,
        words=list(revision.words),
        digest=revision.digest,
    )


def _faulty(faults: Sequence[Fault]) -> RequestFault:
    count = "a fault" if len(faults) == 1 else f"{len(faults)} faults"
    return RequestFault(
        "roster-faulty",
        f"The roster would have {count}, so nothing was changed.",
        remedy="Correct what is listed under errors.",
        places=[Place(_words(fault), parameter=fault.column or fault.file) for fault in faults[:200]],
    )


def _words(fault: Fault) -> str:
    """With the file where the place is a column; else the file is the place itself."""
    places = [fault.file] if fault.column else []
    place = ", ".join([*places, *([f"row {fault.row}"] if fault.row else [])])
    return f"{place}{': ' if place else ''}{fault.found}; {fault.remedy}"
