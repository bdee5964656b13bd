"""The use cases as the API sees them, with what they answer set by the test and what they were asked kept.

They know no rules: a test that needs a refusal puts the error into `refuse`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan, PlanState
from gateway.domain.receiver import ReceiverSettings
from gateway.domain.revocation import Revocation, RevocationState
from gateway.domain.roster import Roster
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NotFound
from gateway.ports import AuditCheck, AuditRow, Progress, ReceiverFacts, RosterCheck, RosterState, Seal
from tests.fakes.memory_store import MemoryPlans

__all__ = [
    "FakeKeeper",
    "FakeLive",
    "FakeReader",
    "FakeRevocations",
    "FakeRosterDesk",
    "FakeSettingsDesk",
    "FakeSync",
    "FakeTimetable",
    "FakeTrust",
    "MemoryAudit",
    "online",
]

_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@dataclass
class FakeTrust:
    """`ports.Trust`."""

    trusted: bool = True


class FakeLive:
    """`ports.LiveView`."""

    def __init__(self, *receivers: LiveReceiver) -> None:
        self.kept = {receiver.name: receiver for receiver in receivers}

    def receivers(self) -> tuple[LiveReceiver, ...]:
        return tuple(self.kept.values())

    def receiver(self, name: str) -> LiveReceiver:
        if name not in self.kept:
            raise NotFound(f"There is no receiver {name}.", remedy="List the receivers to see their names.")
        return self.kept[name]


class FakeKeeper:
    """`ports.MirrorKeeper`."""

    def __init__(self, mirrors: Mapping[str, Mirror]) -> None:
        self._mirrors = mirrors
        self.confirmed: list[str] = []

    async def refresh(
        self, receiver: str, *, urgency: Urgency = Urgency.BULK, progress: Progress | None = None
    ) -> Mirror:
        return self._mirrors[receiver]

    async def record(self, receiver: str, slots: Mapping[int, Any], revision: int, crcs: tuple[int, ...]) -> Mirror:
        return self._mirrors[receiver]

    async def confirm(self, receiver: str) -> None:
        self.confirmed.append(receiver)


@dataclass
class FakeTimetable:
    """`ports.Timetable`."""

    due: datetime | None = _NOON

    def next_run(self) -> datetime | None:
        return self.due


class FakeRosterDesk:
    """`ports.RosterDesk`."""

    def __init__(self, roster: Roster | None = None) -> None:
        self.current = RosterState(
            place="/srv/roster/roster.csv",
            roster=roster,
            accepted=None,
            last_fetch=_NOON,
            last_good=_NOON,
            problem="",
            remedy="",
            faults=(),
            warnings=(),
            next_run=_NOON,
        )
        self.fetches = 0

    def state(self) -> RosterState:
        return self.current

    async def fetch(self) -> RosterState:
        self.fetches += 1
        return self.current


class FakeReader:
    """`ports.RosterReader`; `checked` has what was given to it."""

    def __init__(self, check: RosterCheck | None = None) -> None:
        self.result = check or RosterCheck(roster=None, faults=(), warnings=(), transmitters=1, holders=1)
        self.checked: list[tuple[bytes, bytes | None, Sequence[ReceiverFacts] | None]] = []

    def check(self, roster: bytes, groups: bytes | None, receivers: Sequence[ReceiverFacts] | None) -> RosterCheck:
        self.checked.append((roster, groups, receivers))
        return self.result


class FakeSync:
    """`ports.SyncRuns` over plans that the test puts there."""

    def __init__(self, plans: MemoryPlans, plan: Plan) -> None:
        self._plans = plans
        self._plan = plan
        self.started: list[tuple[str, str]] = []
        self.approved: list[tuple[str, str]] = []
        self.under_way: dict[str, tuple[int, int, str]] = {}
        self.refuse: GatepostError | None = None

    async def preview(self, receiver: str) -> Plan:
        self._check()
        return replace(self._plan, receiver=receiver, state=PlanState.PREVIEW)

    def draft(self, mirror: Mirror) -> Plan:
        self._check()
        return replace(self._plan, receiver=mirror.receiver, state=PlanState.PREVIEW)

    async def apply(self, receiver: str, *, approve: bool = False, progress: Progress | None = None) -> Plan:
        self._check()
        return self._plan

    async def start(self, receiver: str, *, asked_by: str) -> Plan:
        self._check()
        self.started.append((receiver, asked_by))
        plan = replace(self._plan, id=f"p-{len(self.started)}", receiver=receiver)
        self._plans.kept[plan.id] = plan
        return plan

    async def approve(self, plan_id: str, *, asked_by: str) -> Plan:
        self._check()
        self.approved.append((plan_id, asked_by))
        return replace(self._plans.kept[plan_id], state=PlanState.PENDING)

    async def decline(self, plan_id: str, *, asked_by: str, reason: str) -> Plan:
        self._check()
        self._plans.kept[plan_id] = replace(self._plans.kept[plan_id], state=PlanState.REFUSED, outcome=reason)
        return self._plans.kept[plan_id]

    def progress(self, plan_id: str) -> tuple[int, int, str] | None:
        return self.under_way.get(plan_id)

    def _check(self) -> None:
        if self.refuse is not None:
            raise self.refuse


class FakeRevocations:
    """`ports.Revocations`: in force at once, proven where `proven` says."""

    def __init__(self, receivers: Sequence[str]) -> None:
        self._receivers = receivers
        self._kept: dict[int, Revocation] = {}
        self.proven: set[tuple[int, str]] = set()

    async def revoke(self, serial: int, *, asked_by: str, reason: str) -> Revocation:
        made = Revocation(serial, asked_by, reason, _NOON)
        self._kept[serial] = made
        return replace(made, states=self.state(serial))

    async def lift(self, serial: int, *, asked_by: str, reason: str) -> None:
        if self._kept.pop(serial, None) is None:
            raise NotFound("It is not revoked.", remedy="List the revocations.")

    def all(self) -> tuple[Revocation, ...]:
        return tuple(replace(each, states=self.state(each.serial)) for each in reversed(self._kept.values()))

    def state(self, serial: int) -> Mapping[str, RevocationState]:
        return {
            name: RevocationState.PROVEN if (serial, name) in self.proven else RevocationState.PENDING
            for name in self._receivers
        }


class FakeSettingsDesk:
    """`ports.SettingsDesk`; `asked` has every change as it was asked for."""

    def __init__(self, settings: ReceiverSettings) -> None:
        self.settings = settings
        self.asked: list[dict[str, Any]] = []
        self.refuse: GatepostError | None = None

    async def read(self, receiver: str) -> ReceiverSettings:
        if self.refuse is not None:
            raise self.refuse
        return self.settings

    async def change(
        self,
        receiver: str,
        *,
        on_times_s: Mapping[int, int] | None = None,
        local_programming: bool | None = None,
        password: str | None = None,
        asked_by: str,
        basis: Callable[[ReceiverSettings], None] | None = None,
    ) -> tuple[ReceiverSettings, ReceiverSettings]:
        if basis is not None:
            basis(self.settings)
        self.asked.append(
            {
                "receiver": receiver,
                "on_times_s": on_times_s,
                "local_programming": local_programming,
                "password": password,
                "asked_by": asked_by,
            }
        )
        before = self.settings
        times = list(before.on_times_s)
        for output, seconds in (on_times_s or {}).items():
            times[output - 1] = seconds
        self.settings = ReceiverSettings(
            on_times_s=tuple(times),
            local_programming=before.local_programming if local_programming is None else local_programming,
            password_set=before.password_set if password is None else bool(password),
        )
        return before, self.settings


@dataclass
class MemoryAudit:
    """`ports.Audit` without a chain; `refuse` makes every row fail."""

    rows: list[AuditRow] = field(default_factory=list)
    refuse: GatepostError | None = None

    @property
    def seal(self) -> Seal | None:
        return Seal(self.rows[-1].number, self.rows[-1].hash) if self.rows else None

    async def record(
        self, who: str, what: str, detail: Mapping[str, Any] | None = None, *, outcome: str = "done"
    ) -> AuditRow:
        if self.refuse is not None:
            raise self.refuse
        row = AuditRow(
            len(self.rows) + 1, _NOON, who, what, outcome, dict(detail) if detail else None, f"{len(self.rows) + 1:04x}"
        )
        self.rows.append(row)
        return row

    async def read(self, *, limit: int = 100, before: int = 0) -> tuple[AuditRow, ...]:
        return tuple([row for row in reversed(self.rows) if not before or row.number < before][:limit])

    async def verify(self) -> AuditCheck:
        return AuditCheck(len(self.rows), "00")


def online(name: str, **fields: Any) -> LiveReceiver:
    """A receiver that answers."""
    return LiveReceiver(name=name, link=LinkState.ONLINE, since=_NOON, **fields)
