"""`ports.EnrolmentDesk` for tests of the API: steps are set by the test, rows are written by the real form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from gateway.domain.enrolment import Enrolment, EnrolmentStep, EnrolmentWay, Heard, Override
from gateway.domain.roster import Entry, Right
from gateway.errors import GatepostError, NotFound
from gateway.ports import Brought, Enrolled, EnrolmentOrder
from gateway.roster.row_text import CsvRowForm

__all__ = ["FakeEnrolments"]

_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
_RIGHT = Right("slip-gate", "1", "gate")


class FakeEnrolments:
    """One that was started is confirmed when `confirm` says so; `refuse` makes starting and completing fail."""

    def __init__(self) -> None:
        self.kept: dict[str, Enrolment] = {}
        self.asked: list[EnrolmentOrder] = []
        self.in_force: dict[int, Override] = {}
        self.refuse: GatepostError | None = None

    async def start(
        self, receiver: str, way: EnrolmentWay, *, serial: int | None = None, seconds: int = 60, asked_by: str
    ) -> Enrolment:
        if self.refuse is not None:
            raise self.refuse
        made = Enrolment(
            f"e-{len(self.kept) + 1}", receiver, way, EnrolmentStep.LISTENING, _NOON, asked_by, typed=serial
        )
        self.kept[made.id] = made
        return made

    def confirm(self, enrolment_id: str, *serials: int) -> None:
        heard = tuple(Heard(serial, 2, "1") for serial in serials)
        self._set(enrolment_id, EnrolmentStep.CONFIRMED, heard)

    def get(self, receiver: str, enrolment_id: str) -> Enrolment:
        found = self.kept.get(enrolment_id)
        if found is None or found.receiver != receiver:
            raise NotFound("There is no such enrolment.", remedy="Start it again.")
        return found

    def of(self, receiver: str) -> tuple[Enrolment, ...]:
        return tuple(each for each in reversed(self.kept.values()) if each.receiver == receiver)

    async def finish(self, receiver: str, enrolment_id: str) -> Enrolment:
        found = self.get(receiver, enrolment_id)
        if found.step.is_listening:
            self._set(enrolment_id, EnrolmentStep.ENDED, ())
        return self.kept[enrolment_id]

    async def cancel(self, receiver: str, enrolment_id: str) -> Enrolment:
        self.get(receiver, enrolment_id)
        self._set(enrolment_id, EnrolmentStep.CANCELLED, ())
        return self.kept[enrolment_id]

    async def complete(
        self,
        receiver: str,
        enrolment_id: str,
        orders: Sequence[EnrolmentOrder],
        *,
        in_force: bool,
        add: bool,
        asked_by: str,
    ) -> Enrolled:
        if self.refuse is not None:
            raise self.refuse
        self.get(receiver, enrolment_id)
        self.asked += orders
        form = CsvRowForm()
        entries = tuple(Entry(0, o.serial, o.holder, group=o.group, rights=(_RIGHT,), note=o.note) for o in orders)
        made = tuple(
            Override(e.serial, e.holder, e.kind, e.group, e.rights, e.note, asked_by, _NOON)
            for e in entries
            if in_force
        )
        self.in_force |= {each.serial: each for each in made}
        brought = (Brought(receiver, None, "It does not answer.", "Check its power."),) if in_force else ()
        self._set(enrolment_id, EnrolmentStep.COMPLETED, ())
        return Enrolled(form.header, tuple(map(form.write, entries)), entries, add, made, brought, ())

    def overrides(self) -> tuple[Override, ...]:
        return tuple(self.in_force.values())

    async def withdraw(self, serial: int, *, asked_by: str) -> None:
        if self.in_force.pop(serial, None) is None:
            raise NotFound("No such override.", remedy="List them.")

    def _set(self, enrolment_id: str, step: EnrolmentStep, confirmed: tuple[Heard, ...]) -> None:
        self.kept[enrolment_id] = replace(self.kept[enrolment_id], step=step, confirmed=confirmed)
