"""The whole API over fakes, served on loopback by the real runner, for tests of everything that goes over HTTP.

Fennel Quay: a slip gate with four slots' worth of people and a car-park barrier that no line reaches.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import aiohttp
from aiohttp import web

from gateway.api.application import build_application
from gateway.api.limits import Limits
from gateway.api.listeners import Listener, TcpListener
from gateway.api.services import LineView, Services
from gateway.api.serving import serve
from gateway.archive.papers import PaperDesk, SiteFacts
from gateway.archive.shelf import Shelf
from gateway.archive.taking import Archivist
from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.gate import GatePosition
from gateway.domain.health import Health
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind, Plan
from gateway.domain.receiver import Identity, OutputMode, ReceiverSettings, Slot, Status
from gateway.domain.receiver import Limits as ReceiverLimits
from gateway.domain.roster import Entry, Roster
from gateway.ports import Commit, OwnRoster, ReceiverFacts
from gateway.roster.row_text import CsvRowForm
from gateway.sync.naming import NamesNow
from gateway.sync.naming_desk import NamingDesk
from gateway.sync.site import Site
from tests.fakes.archive_desks import FakeClearing, FakeRestores, FakeWaits
from tests.fakes.clock import FakeClock
from tests.fakes.drifts import FakeDates, FakeDrift, some_drift
from tests.fakes.enrolments import FakeEnrolments
from tests.fakes.forgetting import FakeForgetting
from tests.fakes.gates import FakeConditions, FakeGates, FakeWhys, some_condition, some_gate
from tests.fakes.histories import FakeHistories, FakeHistory
from tests.fakes.memory_store import MemoryStore
from tests.fakes.naming import MemoryNamings
from tests.fakes.operating import FakeOperating
from tests.fakes.outlets import FakeOutletDesk
from tests.fakes.people import FakePeople, NoFirstRosters, NoOwnRoster, some_person
from tests.fakes.receipts import MemoryReceipts
from tests.fakes.receiver import FakeReceiver
from tests.fakes.selections import FakeSelections
from tests.fakes.sync_house import Rosters
from tests.fakes.use_cases import (
    FakeKeeper,
    FakeLive,
    FakeReader,
    FakeRevocations,
    FakeRosterDesk,
    FakeSettingsDesk,
    FakeSync,
    FakeTimetable,
    FakeTrust,
    MemoryAudit,
    online,
)
from tests.fakes.visit_sheets import FakeVisitSheets
from tests.fakes.visits import FakeVisits

__all__ = ["SECRET_HOLDER", "ApiBench", "Client"]

SECRET_HOLDER = "Berth 12"
_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
_IDENTITY = Identity("Example", "Reference receiver", "1.0", "V-0001", "reference", 1)
_LIMITS = ReceiverLimits(
    outputs=2, inputs=2, slots=1024, positions=8, on_time_min_s=1, on_time_max_s=3600, name_bytes=16
)
_STATUS = Status(
    input_violated=(False, True),
    output_closed=(False, False),
    output_modes=(OutputMode.TIMED, OutputMode.LATCHING),
    revision=412,
    boot_count=7,
)


def _slot(number: int, serial: int, name: str) -> Slot:
    return Slot(number, serial, 4, (frozenset({1}), frozenset(), frozenset({2})), name=name)


class ApiBench:
    """Every part by name, so that a test can set it before or while it is served."""

    def __init__(self, *, clock: Clock | None = None, limits: Limits | None = None) -> None:
        self.clock: Clock = clock or FakeClock()
        self.limits = limits or Limits()
        self.store = MemoryStore(self.clock)
        self.trust = FakeTrust()
        self.live = FakeLive(
            online(
                "slip-gate",
                identity=_IDENTITY,
                limits=_LIMITS,
                status=_STATUS,
                read_monotonic=self.clock.monotonic(),
                poll_rate_hz=5.0,
                mirror_revision=412,
            ),
            LiveReceiver("car-park", LinkState.SILENT, _NOON, problem="It does not answer.", remedy="Check its power."),
        )
        self.store.mirrors.kept["slip-gate"] = Mirror(
            receiver="slip-gate",
            identity=_IDENTITY,
            limits=_LIMITS,
            revision=412,
            slots={
                number: _slot(number, serial, name)
                for number, serial, name in (
                    (1, 48231907, SECRET_HOLDER),
                    (2, 48231911, "Harbour office"),
                    (5, 77, "Barge crew"),
                )
            },
        )
        roster = Roster(
            entries=(Entry(2, 48231907, SECRET_HOLDER), Entry(3, 48231911, "Harbour office")), digest="9f2c"
        )
        self.roster = FakeRosterDesk(roster)
        self.reader = FakeReader()
        self.keeper = FakeKeeper(self.store.mirrors.kept)
        self.plan = Plan(
            id="p-held",
            receiver="slip-gate",
            created=_NOON,
            roster_digest="9f2c",
            base_revision=412,
            changes=(
                Change(
                    ChangeKind.REMOVED, 5, _slot(5, 77, "Barge crew"), None, "slot 5: Barge crew goes", guarded=True
                ),
            ),
            unchanged=2,
            wire_s=0.25,
        )
        self.sync = FakeSync(self.store.plans, self.plan)
        self.store.plans.kept["p-held"] = self.plan
        self.revocations = FakeRevocations(("slip-gate", "car-park"))
        self.settings = FakeSettingsDesk(ReceiverSettings((5, 30), local_programming=False, password_set=True))
        self.audit = MemoryAudit()
        self.gates = FakeGates(some_gate(position=GatePosition.OPEN))
        self.conditions = FakeConditions(some_condition())
        self.waits = FakeWaits()
        self.restores = FakeRestores(self.store.plans, self.plan, _IDENTITY)
        self.clearing = FakeClearing()
        self.outlets = FakeOutletDesk(self.clock)
        self.enrolments = FakeEnrolments()
        self.selections = FakeSelections()
        self.operating = FakeOperating()
        self.visits = FakeVisits()
        self.receipts = MemoryReceipts()
        self.history, self.histories = FakeHistory(), FakeHistories()
        self.own_roster: OwnRoster = NoOwnRoster()
        self.drift = FakeDrift(some_drift())
        self.dates = FakeDates()
        self.people = FakePeople(some_person(), some_person(48231911, "Harbour office"))
        called = NamesNow({"slip-gate": {1: "gate", 2: "lamp"}, "car-park": {1: "barrier"}})
        self.facts = tuple(
            ReceiverFacts(name, called.outputs(name), also=called.also(name)) for name in called.of_settings
        )
        self.rosters = Rosters()
        self.names = NamingDesk(
            site=Site(
                "fennel-quay",
                ZoneInfo("Europe/London"),
                {facts.name: FakeReceiver(facts.name) for facts in self.facts},
                {facts.name: facts for facts in self.facts},
            ),
            names=called,
            counts=lambda _: _LIMITS.outputs,
            ledger=MemoryNamings(),
            journal=self.store.journal,
            rosters=self.rosters,
        )
        self.papers = PaperDesk(
            SiteFacts("fennel-quay", ZoneInfo("Europe/London"), self.facts, ()),
            people=self.people,
            live=self.live,
            mirrors=self.store.mirrors,
            gates=self.gates,
            roster=self.roster,
            revocations=self.revocations,
            clock=self.clock,
            trust=self.trust,
        )
        self.shelf = Shelf(
            archivist=Archivist(
                snapshots=self.store.snapshots, journal=self.store.journal, clock=self.clock, trust=self.trust
            ),
            snapshots=self.store.snapshots,
            receivers={facts.name: FakeReceiver(facts.name) for facts in self.facts},
            facts={facts.name: facts for facts in self.facts},
            keeper=self.keeper,
            mirrors=self.store.mirrors,
            live=self.live,
            plans=self.store.plans,
            waits=self.waits,
            clock=self.clock,
            trust=self.trust,
        )
        self.journal_available = True
        self.security_contact = "mailto:security@fennel-quay.example"
        self.health = Health()
        self.lines: dict[str, LineView] = {}
        self.visit_sheets = FakeVisitSheets(self.clock)
        self.forgetting = FakeForgetting()
        self.services = Services(
            visit_sheets=self.visit_sheets,
            forgetting=self.forgetting,
            gateway_id="fennel-quay",
            clock=self.clock,
            trust=self.trust,
            live=self.live,
            journal=self.store.journal,
            mirrors=self.store.mirrors,
            keeper=self.keeper,
            plans=self.store.plans,
            sync=self.sync,
            roster=self.roster,
            reader=self.reader,
            timetable=FakeTimetable(),
            revocations=self.revocations,
            settings=self.settings,
            names=self.names,
            tokens=self.store.tokens,
            audit=self.audit,
            gates=self.gates,
            conditions=self.conditions,
            whys=FakeWhys((SECRET_HOLDER,)),
            snapshots=self.shelf,
            restores=self.restores,
            waits=self.waits,
            clearing=self.clearing,
            outlets=self.outlets,
            documents=self.store.documents,
            enrolments=self.enrolments,
            rows=CsvRowForm(),
            selections=self.selections,
            operating=self.operating,
            visits=self.visits,
            receipts=self.receipts,
            history=self.history,
            histories=self.histories,
            people=self.people,
            drift=self.drift,
            dates=self.dates,
            papers=self.papers,
            own_roster=self.own_roster,
            first_rosters=NoFirstRosters(),
            facts=self.facts,
            lines=self.lines,
            health=lambda: self.health,
            journal_available=lambda: self.journal_available,
        )

    async def token(self, *scopes: str) -> str:
        """A new token's secret."""
        return (await self.store.tokens.add("a test", scopes))[1]

    async def happen(self, name: EventName, receiver: str = "slip-gate", **data: Any) -> None:
        """One more event in the journal."""
        await self.store.journal.commit(Commit(events=(EventDraft(name, receiver, data),)))

    def application(self, allowed_hosts: Sequence[str] = (), *, behind_proxy: bool = False) -> web.Application:
        """The application, not served."""
        return build_application(
            self.services,
            version="0.1.0",
            allowed_hosts=allowed_hosts,
            limits=self.limits,
            behind_proxy=behind_proxy,
            security_contact=self.security_contact,
        )

    @asynccontextmanager
    async def served(
        self,
        *scopes: str,
        listeners: Sequence[Listener] = (TcpListener("127.0.0.1", 0),),
        allowed_hosts: Sequence[str] = ("gate.fennel-quay.example",),
        behind_proxy: bool = False,
    ) -> AsyncIterator[Client]:
        """Serve, and give a client whose token has these scopes (none: no token)."""
        app = self.application(allowed_hosts, behind_proxy=behind_proxy)
        async with serve(app, listeners) as serving:
            base = f"http://127.0.0.1:{serving.ports[0]}" if serving.ports else "http://localhost"
            headers = {"Authorization": f"Bearer {await self.token(*scopes)}"} if scopes else {}
            async with aiohttp.ClientSession(base) as session:
                yield Client(session, base, headers)


class Client:
    """A few lines around a client session: a token, and answers read whole."""

    def __init__(self, session: aiohttp.ClientSession, base: str, headers: dict[str, str]) -> None:
        self.session = session
        self.base = base
        self.headers = headers

    async def ask(self, method: str, path: str, *, headers: dict[str, str] | None = None, **options: Any) -> Reply:
        """Send and read the whole answer. Redirects are not followed."""
        sent = {**self.headers, **(headers or {})}
        async with self.session.request(method, path, headers=sent, allow_redirects=False, **options) as response:
            return Reply(response.status, response.headers.copy(), await response.read())

    async def get(self, path: str, **options: Any) -> Reply:
        """GET."""
        return await self.ask("GET", path, **options)

    async def post(self, path: str, body: Any = None, **options: Any) -> Reply:
        """POST with a JSON body."""
        return await self.ask("POST", path, json=body, **options)


class Reply:
    """An answer, read whole."""

    def __init__(self, status: int, headers: Any, body: bytes) -> None:
        self.status = status
        self.headers = headers
        self.body = body

    @property
    def json(self) -> Any:
        """The body as JSON."""
        return json.loads(self.body)

    @property
    def problem(self) -> str:
        """The code of a problem document."""
        assert self.headers["Content-Type"] == "application/problem+json", self.body
        assert self.json["status"] == self.status
        return str(self.json["type"]).removeprefix("urn:gatepost:problem:")
