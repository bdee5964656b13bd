"""Rows of an enrolment, straight into the roster that the gateway keeps itself."""

from __future__ import annotations

from collections.abc import Sequence

from gateway.domain.roster import Entry
from gateway.errors import Refused
from gateway.ports import AddRow, OwnRoster, RowForm

__all__ = ["OwnRosterAdditions"]


class OwnRosterAdditions:
    """`ports.RosterAdditions`. `who` of the revision is whoever completed the enrolment."""

    def __init__(self, own: OwnRoster, form: RowForm) -> None:
        self._own = own
        self._form = form

    async def add_rows(self, entries: Sequence[Entry], *, asked_by: str) -> None:
        """All of them as one revision, or none."""
        edits = [AddRow(entry.serial, self._form.cells(entry)) for entry in entries]
        outcome = await self._own.edit(edits, who=asked_by)
        if outcome.faults:
            fault = outcome.faults[0]
            raise Refused(
                f"The roster would have a fault: {fault.column}: {fault.found}.",
                remedy=f"{fault.remedy[:1].upper()}{fault.remedy[1:]}.",
                code="roster-faulty",
            )
