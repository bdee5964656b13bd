"""The lines of every visit sheet: numbered once, reconciled with what is to be done, kept over restarts.

A document for each line, and one head for each receiver, so that a tick writes one small row. It decides nothing
about receivers; `desk` puts its documents into the commit that they belong to, and calls `keep` once that is durable.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from gateway.domain.visit_sheet import Gesture, LineState, SheetLine
from gateway.ports import Documents
from gateway.sync.by_hand.lines import Work

__all__ = ["Edit", "Head", "Sheet", "Sheets"]


@dataclass(frozen=True, slots=True)
class Head:
    """Lines `first` to `next` - 1 belong to the sheet; `plan` is the plan that they carry out."""

    first: int = 1
    next: int = 1
    plan: str = ""
    began: datetime | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One receiver's sheet, by line number."""

    head: Head = field(default_factory=Head)
    lines: Mapping[int, SheetLine] = field(default_factory=dict)

    def ordered(self) -> tuple[SheetLine, ...]:
        """In the order of the work: revoked ones, then all that go, then by number; withdrawn ones last."""
        return tuple(sorted(self.lines.values(), key=_order))

    @property
    def open(self) -> tuple[SheetLine, ...]:
        """What is still to be done."""
        return tuple(line for line in self.lines.values() if line.state is LineState.OPEN)


@dataclass(frozen=True, slots=True)
class Edit:
    """A sheet as it is to become, and the documents that make it durable."""

    sheet: Sheet
    documents: Mapping[str, Any]


class Sheets:
    """All sheets, from memory."""

    def __init__(self, documents: Documents) -> None:
        self._documents = documents
        self._sheets: dict[str, Sheet] = {}

    def load(self, receivers: Collection[str]) -> None:
        """Read what was kept. A line that can't be read is left out; it is then numbered anew."""
        for receiver in receivers:
            head = self._documents.load(_key(receiver), Head) or Head()
            found = [self._documents.load(_key(receiver, n), SheetLine) for n in range(head.first, head.next)]
            self._sheets[receiver] = Sheet(head, {line.number: line for line in found if line is not None})

    def of(self, receiver: str) -> Sheet:
        return self._sheets.get(receiver, Sheet())

    def keep(self, receiver: str, edit: Edit) -> None:
        """What has just become durable."""
        self._sheets[receiver] = edit.sheet

    def edit_lines(self, receiver: str, *changed: SheetLine) -> Edit:
        """These lines in place of those with the same numbers."""
        sheet = self.of(receiver)
        lines = {**sheet.lines, **{line.number: line for line in changed}}
        return Edit(replace(sheet, lines=lines), {_key(receiver, line.number): line for line in changed})

    def reconcile(self, receiver: str, wanted: Sequence[Work], plan: str, now: datetime) -> Edit:
        """Open lines that are no longer wanted are withdrawn, new work gets new numbers, ticked lines stay.

        When nothing is open any more, new work begins a new sheet: what was closed leaves it, and is in the journal.
        """
        sheet = self.of(receiver)
        lines, documents = dict(sheet.lines), dict[str, Any]()
        head = sheet.head
        if wanted and not sheet.open and not _reopened(sheet, wanted):
            documents |= {_key(receiver, number): None for number in lines}
            lines, head = {}, replace(head, first=head.next, began=now)
        by_work = {line.work: line for line in lines.values() if line.state is not LineState.TICKED}
        changed: list[SheetLine] = []
        for work in wanted:
            known = by_work.pop(work.work, None)
            if known is None:
                changed.append(_line(head.next, work))
                head = replace(head, next=head.next + 1)
            elif (now_wanted := _renewed(known, work)) != known:
                changed.append(now_wanted)
        changed += [
            replace(line, state=LineState.WITHDRAWN) for line in by_work.values() if line.state is LineState.OPEN
        ]
        head = replace(head, plan=plan)
        documents |= {_key(receiver, line.number): line for line in changed}
        if head != sheet.head:
            documents[_key(receiver)] = head
        return Edit(Sheet(head, {**lines, **{line.number: line for line in changed}}), documents)


def _reopened(sheet: Sheet, wanted: Sequence[Work]) -> bool:
    """Whether some of it stood on this very sheet and was withdrawn, or a tick of it was taken back."""
    withdrawn = {line.work for line in sheet.lines.values() if line.state is LineState.WITHDRAWN}
    return any(work.work in withdrawn for work in wanted)


def _line(number: int, work: Work) -> SheetLine:
    return SheetLine(
        number=number,
        gesture=work.gesture,
        serial=work.serial,
        position=work.position,
        output=work.output,
        holder=work.holder,
        words=work.words,
        revoked=work.revoked,
    )


def _renewed(line: SheetLine, work: Work) -> SheetLine:
    return replace(line, state=LineState.OPEN, holder=work.holder, words=work.words, revoked=work.revoked)


def _order(line: SheetLine) -> tuple[bool, bool, bool, int]:
    return (
        line.state is LineState.WITHDRAWN,
        not line.revoked,
        line.gesture is not Gesture.REMOVE,
        line.number,
    )


def _key(receiver: str, number: int = 0) -> str:
    return f"visit-sheet/{receiver}/{number}" if number else f"visit-sheet/{receiver}"
