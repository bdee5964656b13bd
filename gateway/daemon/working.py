"""Builds the book of work in progress, and lets whoever watches know of it.

What is seen is marked by it, and it is built later, from parts that need what is seen: `Visited` closes that circle.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from gateway.daemon.ground import Ground
from gateway.domain.gate import Gate
from gateway.ports import MirrorKeeper, SettingsDesk
from gateway.sync.site import Site
from gateway.sync.visiting import VisitBook
from gateway.system.boot import read_boot_id

__all__ = ["Visited", "build_work"]


class Visited:
    """The receivers that people work at now; none until somebody is set to be asked."""

    def __init__(self) -> None:
        self.ask: Callable[[], frozenset[str]] = frozenset

    def __call__(self) -> frozenset[str]:
        return self.ask()


def build_work(
    ground: Ground, visited: Visited, gates: Mapping[str, Gate], *, site: Site, settings: SettingsDesk,
    keeper: MirrorKeeper,
) -> VisitBook:  # fmt: skip
    """Its `run` is a task of the daemon; `planning` is set when there is somebody who plans."""
    store = ground.store
    book = VisitBook(
        site=site,
        gates={name: gate.receivers for name, gate in gates.items()},
        journal=store.journal,
        documents=store.documents,
        ledger=store.ledger,
        settings=settings,
        keeper=keeper,
        clock=ground.clock,
        trust=ground.trust,
        boot_id=read_boot_id(),
    )
    visited.ask = lambda: book.visited
    return book
