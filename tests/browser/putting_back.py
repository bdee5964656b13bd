"""Leaving a yard as it was found: the roster's file as before, nothing revoked, every receiver equal to the roster."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.async_api import Download

from tests.browser.quay import Quay
from tests.integration.yard import until

__all__ = ["as_before", "saved_json", "saved_text"]


@contextmanager
def as_before(works: Quay) -> Iterator[None]:
    """Whatever the body does to the roster, to revocations and to what the receivers hold is undone behind it."""
    roster = works.yard.roster.read_text()
    try:
        yield
    finally:
        works.yard.roster.write_text(roster)
        daemon = works.yard.daemon
        for row in daemon.get("/revocations", limit=500)["revocations"]:
            daemon.client.delete(f"/revocations/{row['serial']}", params={"reason": "the test is over"})
        daemon.post("/roster/fetches")
        for row in daemon.get("/drift")["drift"]:
            decision = "restore" if "restore" in row["decisions"] else "remove"
            daemon.post(f"/receivers/{row['receiver']}/drift/{row['serial']}/decision", {"decision": decision})
        for receiver in ("slip-gate", "car-park"):
            until(lambda receiver=receiver: _is_equal(works, receiver), f"{receiver} as before", 60)  # type: ignore[misc]


def _is_equal(works: Quay, receiver: str) -> bool:
    daemon = works.yard.daemon
    if daemon.receiver(receiver)["waiting"]:
        daemon.post(f"/receivers/{receiver}/approvals", {"approve": "roster"})
    plans = daemon.get("/plans", open="true", receiver=receiver)["plans"]
    for plan in plans:
        if plan["state"] == "held":
            daemon.post(f"/plans/{plan['id']}/application")
    if plans:
        return False
    rows = daemon.get("/agreements")["agreements"]
    if next(row for row in rows if row["receiver"] == receiver)["state"] == "equal":
        return True
    daemon.post("/plans", {"receiver": receiver})
    return False


async def saved_text(download: Download) -> str:
    """What a person saved, without the mark that spreadsheets want."""
    return _read(await download.path())


async def saved_json(download: Download) -> Any:
    """The same as one JSON document."""
    return json.loads(await saved_text(download))


def _read(path: Path) -> str:
    return path.read_text("utf-8-sig")
