"""Everything that the API calls, by name; built where the parts are plugged together.

Plain values and ports only. What a port does is said in `gateway.ports`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol
from zoneinfo import ZoneInfo

from gateway.api.memory_replays import MemoryReplays
from gateway.clock import Clock
from gateway.domain.health import Health
from gateway.domain.receiver import Capability
from gateway.line import LineCounters, LineState
from gateway.ports import (
    Audit,
    ClearingDesk,
    Conditions,
    DateChanges,
    Documents,
    DriftDesk,
    EnrolmentDesk,
    FirstRosters,
    ForgettingDesk,
    Gates,
    Histories,
    History,
    Journal,
    LiveView,
    MirrorKeeper,
    Mirrors,
    OperationDesk,
    OutletDesk,
    OutputNameDesk,
    OwnRoster,
    Papers,
    People,
    Plans,
    Receipts,
    ReceiverFacts,
    Replays,
    RestoreDesk,
    Revocations,
    RosterDesk,
    RosterReader,
    RosterWaits,
    RowForm,
    Selections,
    SettingsDesk,
    SnapshotDesk,
    SyncRuns,
    Timetable,
    Tokens,
    Trust,
    Visits,
    VisitSheets,
    Whys,
)

__all__ = ["LineView", "Notice", "Services"]


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that a person should know about the gateway itself: a stable code, what it is, what to do."""

    code: str
    text: str
    remedy: str = ""


class LineView(Protocol):
    """What a line tells of itself."""

    @property
    def state(self) -> LineState: ...

    @property
    def counters(self) -> LineCounters: ...


def _no_notices() -> Sequence[Notice]:
    return ()


@dataclass(frozen=True, slots=True)
class Services:
    """The ports of the API.

    `gateway_id` names this gateway in events. `facts` has the receivers' names and their outputs' names,
    `capabilities` what each one's map makes possible (a receiver that is missing there has all of them).
    `zone` is the site's, in which people are shown times. `lines` are the serial lines by name, `health` says whether
    everything works. `journal_available` is False while the journal can't be written. `notices` are in force now.
    """

    gateway_id: str
    clock: Clock
    trust: Trust
    live: LiveView
    journal: Journal
    mirrors: Mirrors
    keeper: MirrorKeeper
    plans: Plans
    sync: SyncRuns
    roster: RosterDesk
    reader: RosterReader
    timetable: Timetable
    revocations: Revocations
    settings: SettingsDesk
    names: OutputNameDesk
    tokens: Tokens
    audit: Audit
    gates: Gates
    conditions: Conditions
    whys: Whys
    snapshots: SnapshotDesk
    restores: RestoreDesk
    waits: RosterWaits
    clearing: ClearingDesk
    outlets: OutletDesk
    documents: Documents
    enrolments: EnrolmentDesk
    rows: RowForm
    selections: Selections
    operating: OperationDesk
    visits: Visits
    receipts: Receipts
    history: History
    histories: Histories
    people: People
    drift: DriftDesk
    dates: DateChanges
    own_roster: OwnRoster
    first_rosters: FirstRosters
    papers: Papers
    visit_sheets: VisitSheets
    forgetting: ForgettingDesk
    facts: Sequence[ReceiverFacts] = ()
    capabilities: Mapping[str, frozenset[Capability]] = field(default_factory=dict)
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    replays: Replays = field(default_factory=MemoryReplays)
    lines: Mapping[str, LineView] = field(default_factory=dict)
    health: Callable[[], Health] = Health
    journal_available: Callable[[], bool] = lambda: True
    notices: Callable[[], Sequence[Notice]] = _no_notices

    def facts_of(self, receiver: str) -> ReceiverFacts:
        """The names of a receiver's outputs, as they are now; of an unknown receiver there are none."""
        return next((facts for facts in self.facts if facts.name == receiver), ReceiverFacts(receiver, {}))
