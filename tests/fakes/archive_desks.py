"""The archive's desks as the API sees them, with what they were asked kept; a refusal is put there by the test."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal

from gateway.domain.plan import Plan, PlanState
from gateway.domain.receiver import Identity
from gateway.domain.wait import RosterWait
from gateway.errors import GatepostError, NotFound
from gateway.ports import RestoreOrder, RestorePreview, SnapshotHead
from tests.fakes.memory_store import MemoryPlans

__all__ = ["FakeClearing", "FakeRestores", "FakeWaits"]

_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@dataclass
class FakeWaits:
    """`ports.RosterWaits`."""

    kept: dict[str, RosterWait] = field(default_factory=dict)
    approved: list[tuple[str, str, str]] = field(default_factory=list)

    def all(self) -> Mapping[str, RosterWait]:
        return dict(self.kept)

    async def begin(self, wait: RosterWait) -> None:
        self.kept[wait.receiver] = wait

    async def approve(self, receiver: str, what: Literal["roster", "snapshot"], *, asked_by: str) -> None:
        if self.kept.pop(receiver, None) is None:
            raise NotFound(f"The roster does not wait at {receiver}.", remedy="Nothing has to be approved there.")
        self.approved.append((receiver, what, asked_by))


class FakeRestores:
    """`ports.RestoreDesk` whose plan is always the same."""

    def __init__(self, plans: MemoryPlans, plan: Plan, identity: Identity) -> None:
        self._plans = plans
        self._plan = replace(plan, reason="restore")
        self._identity = identity
        self.previewed: list[RestoreOrder] = []
        self.started: list[tuple[RestoreOrder, str]] = []
        self.refuse: GatepostError | None = None

    async def preview(self, order: RestoreOrder) -> RestorePreview:
        self._check()
        self.previewed.append(order)
        return RestorePreview(
            plan=replace(self._plan, receiver=order.receiver, state=PlanState.PREVIEW),
            board=("Set output 2 (lamp) to latching at the board; it is timed now.",),
            notes=(),
            settings=("output 1 (gate) stays closed for 8 s instead of 5 s.",),
            answers=self._identity,
            taken_from=self._identity,
            unconfirmed=order.replacement is not None,
        )

    async def start(self, order: RestoreOrder, *, asked_by: str) -> Plan:
        self._check()
        self.started.append((order, asked_by))
        plan = replace(self._plan, id=f"p-restore-{len(self.started)}", receiver=order.receiver)
        self._plans.kept[plan.id] = plan
        return plan

    def _check(self) -> None:
        if self.refuse is not None:
            raise self.refuse


@dataclass
class FakeClearing:
    """`ports.ClearingDesk`."""

    cleared: list[tuple[str, str, str]] = field(default_factory=list)

    async def reset(self, receiver: str, *, typed: str, asked_by: str) -> SnapshotHead:
        self.cleared.append((receiver, typed, asked_by))
        return SnapshotHead(f"20260302T120000Z-001-{receiver}", receiver, _NOON, True, "reset", "V-0001", 412, 3)
