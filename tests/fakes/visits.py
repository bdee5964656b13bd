"""Work in progress as the API sees it; it knows no rules, a test puts a refusal into `refuse`."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from gateway.domain.visit import Visit, VisitChange, VisitScope, VisitState
from gateway.errors import GatepostError, NotFound
from gateway.ports import VisitOrder, Visits

__all__ = ["FakeVisits", "some_visit"]

_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def some_visit(state: VisitState = VisitState.RUNNING) -> Visit:
    """An hour at the slip gate."""
    return Visit(
        id="v-1",
        scope=VisitScope.RECEIVER,
        name="slip-gate",
        receivers=("slip-gate",),
        reason="aerial is replaced",
        asked_by="token:1",
        minutes=60,
        started=_NOON,
        until=_NOON + timedelta(minutes=60),
        state=state,
    )


class FakeVisits(Visits):
    """`ports.Visits`."""

    def __init__(self) -> None:
        self.kept = {"v-1": some_visit()}
        self.asked: list[VisitOrder] = []
        self.refuse: GatepostError | None = None

    def all(self) -> tuple[Visit, ...]:
        return tuple(reversed(self.kept.values()))

    def find(self, visit_id: str) -> Visit:
        if visit_id not in self.kept:
            raise NotFound("There is no such visit.", remedy="List them.")
        return self.kept[visit_id]

    @property
    def visited(self) -> frozenset[str]:
        running = [each for each in self.kept.values() if each.state is VisitState.RUNNING]
        return frozenset(name for each in running for name in each.receivers)

    def check(self, receivers: Collection[str]) -> None:
        return None

    async def start(self, order: VisitOrder) -> Visit:
        self.asked.append(order)
        if self.refuse is not None:
            raise self.refuse
        return self.find("v-1")

    async def end(self, visit_id: str, *, asked_by: str) -> Visit:
        found = self.find(visit_id)
        change = VisitChange("slip-gate", "m1-3", _NOON, "slot 7: transmitter 0048231907 was added at the board")
        ended = replace(found, state=VisitState.ENDED, ended=_NOON, ended_by=asked_by, changes=(change,))
        self.kept[visit_id] = ended
        return ended
