"""Builds what answers questions about the past."""

from __future__ import annotations

from gateway.archive.access import AccessReader
from gateway.archive.historian import Historian
from gateway.archive.story import StoryReader
from gateway.daemon.house import House

__all__ = ["build_historian"]


def build_historian(house: House) -> Historian:
    ground = house.ground
    store, parts, settings = ground.store, ground.parts, ground.settings
    gates = {state.gate.name: state.gate for state in house.watching.conditions.gates.gates()}
    access = AccessReader(
        history=store.history, receipts=store.receipts, facts=parts.facts, gates=gates, site=settings.gateway.site,
        zone=parts.zone,
    )  # fmt: skip
    stories = StoryReader(
        history=store.history, facts=parts.facts, revoked=store.ledger.revocations, zone=parts.zone,
        heard_days=settings.gateway.keep_heard_days, history_days=settings.gateway.keep_history_days,
    )  # fmt: skip
    return Historian(access, stories, clock=ground.clock, trust=ground.trust, zone=parts.zone)
