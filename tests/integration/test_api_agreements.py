"""Whether receivers hold what the roster says, over HTTP."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from gateway.domain.wait import RosterWait
from gateway.errors import Refused
from tests.fakes.api_bench import ApiBench, Client


@pytest.fixture
async def bench() -> AsyncIterator[tuple[ApiBench, Client]]:
    """An API for somebody who may only look."""
    found = ApiBench()
    async with found.served("view") as client:
        yield found, client


async def _states(client: Client) -> dict[str, tuple[str, str]]:
    reply = await client.get("/api/v1/agreements")
    assert reply.status == 200, reply.body
    return {each["receiver"]: (each["state"], each["sentence"]) for each in reply.json["agreements"]}


async def test_what_is_pending_is_counted(bench: tuple[ApiBench, Client]) -> None:
    """And one that can't be reached is not known, whatever was read of it before."""
    states = await _states(bench[1])
    assert states["slip-gate"] == ("differs", "1 pending change: 1 to remove.")
    assert states["car-park"][0] == "unknown"


async def test_equal_is_said_only_of_what_is_proven_now(bench: tuple[ApiBench, Client]) -> None:
    """At another revision than the one read, nobody knows."""
    api, client = bench
    api.sync._plan = replace(api.plan, changes=())
    assert (await _states(client))["slip-gate"][0] == "equal"
    mirror = api.store.mirrors.kept["slip-gate"]
    api.store.mirrors.kept["slip-gate"] = replace(mirror, revision=mirror.revision - 1)
    assert (await _states(client))["slip-gate"] == ("unknown", "It was changed just now and is being read again.")


async def test_what_it_was_drafted_from_is_watched(bench: tuple[ApiBench, Client]) -> None:
    """A draft is kept as long as nothing changed that it was made from."""
    api, client = bench
    assert (await _states(client))["slip-gate"][0] == "differs"
    api.sync._plan = replace(api.plan, changes=())
    assert (await _states(client))["slip-gate"][0] == "differs"
    api.trust.trusted = False
    assert (await _states(client))["slip-gate"][0] == "equal"
    api.sync._plan = api.plan
    await api.revocations.revoke(77, asked_by="test", reason="lost")
    assert (await _states(client))["slip-gate"][0] == "differs"


async def test_a_refusal_is_told(bench: tuple[ApiBench, Client]) -> None:
    """Nothing is known of what can't be compared."""
    api, client = bench
    api.sync.refuse = Refused("No roster has been accepted yet.", code="no-roster")
    assert (await _states(client))["slip-gate"] == ("unknown", "No roster has been accepted yet.")


@pytest.mark.parametrize(
    ("reason", "why"),
    [
        ("restore", "the snapshot slip-gate-0003 was chosen for it"),
        ("clone", "the snapshot slip-gate-0003 was chosen for it"),
        ("reset", "it was cleared on purpose"),
        ("board-reset", "it was cleared by a reset that did not come from here"),
    ],
)
async def test_a_wait_is_told(bench: tuple[ApiBench, Client], reason: str, why: str) -> None:
    """In words that are true before anything was written, and while it waits for approval."""
    api, client = bench
    since = datetime(2026, 3, 2, tzinfo=UTC)
    await api.waits.begin(RosterWait("slip-gate", reason, since, "test", snapshot="slip-gate-0003", plan="p-1"))
    assert (await _states(client))["slip-gate"] == ("waits", f"The roster waits until somebody approves: {why}.")
