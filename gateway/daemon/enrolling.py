"""Builds enrolment: listening for transmitters, the rows that come of it, and local overrides."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.daemon.ground import Ground
from gateway.daemon.names import NameBook
from gateway.daemon.watching import Watching
from gateway.roster.row_text import CsvRowForm
from gateway.sync.drafting import Drafter, RosterInForce
from gateway.sync.enrolling import Enroller
from gateway.sync.enrolment_desk import EnrolmentDesk
from gateway.sync.override_runs import OverrideRuns
from gateway.sync.preparing import Preparer
from gateway.sync.runner import SyncRunner
from gateway.sync.site import Site

__all__ = ["Enrolling", "build_enrolling"]


@dataclass(frozen=True, slots=True)
class Enrolling:
    """The first three have work that the daemon runs; `rows` is how a row is written."""

    enroller: Enroller
    runs: OverrideRuns
    desk: EnrolmentDesk
    rows: CsvRowForm


def build_enrolling(
    ground: Ground,
    watching: Watching,
    names: NameBook,
    *,
    rosters: RosterInForce,
    site: Site,
    drafter: Drafter,
    preparer: Preparer,
    runner: SyncRunner,
) -> Enrolling:
    """`rosters` is the roster in force without overrides."""
    store, clock, journal = ground.store, ground.clock, ground.store.journal
    enroller = Enroller(
        site=site, clock=clock, journal=journal, mirrors=store.mirrors, documents=store.documents,
        live=watching.watch.live, holder=lambda serial: names.holder(serial) or "",
        revoked=store.ledger.revocations,
    )  # fmt: skip
    runs = OverrideRuns(
        drafter=drafter.overrides, preparer=preparer, runner=runner, keeper=watching.watch.keeper, journal=journal,
        documents=store.documents, plans=store.plans,
    )  # fmt: skip
    rows = CsvRowForm()
    desk = EnrolmentDesk(
        enroller=enroller, runs=runs, site=site, clock=clock, journal=journal, ledger=store.ledger, kept=store.ledger,
        rosters=rosters, form=rows,
    )  # fmt: skip
    return Enrolling(enroller, runs, desk, rows)
