"""Builds what deals with changes by other hands: the book that planning reads, and the desk where people decide."""

from __future__ import annotations

from gateway.daemon.ground import Ground
from gateway.ports import Revocations
from gateway.sync.drafting import Drafter, RosterInForce
from gateway.sync.drift_book import DriftBook
from gateway.sync.drift_desk import DriftDesk
from gateway.sync.preparing import Preparer
from gateway.sync.runner import SyncRunner
from gateway.sync.site import Site

__all__ = ["build_drift_book", "build_drift_desk"]


def build_drift_book(ground: Ground) -> DriftBook:
    store = ground.store
    return DriftBook(
        ledger=store.ledger, documents=store.documents, journal=store.journal, policies=ground.settings.drift
    )


def build_drift_desk(
    ground: Ground,
    *,
    site: Site,
    book: DriftBook,
    drafter: Drafter,
    preparer: Preparer,
    runner: SyncRunner,
    revocations: Revocations,
    rosters: RosterInForce,
) -> DriftDesk:
    store = ground.store
    return DriftDesk(
        site=site, clock=ground.clock, journal=store.journal, mirrors=store.mirrors, ledger=store.ledger, book=book,
        drafter=drafter, preparer=preparer, runner=runner, revocations=revocations, rosters=rosters,
    )  # fmt: skip
