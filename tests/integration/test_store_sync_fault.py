"""A disk that fails to sync or to write at one moment, or from one moment on (SQLite's own I/O error tests do both).

strace makes the n-th call of a child fail. The child commits events that each have a turn of their own, and tries a
turn again when it was told that it failed, as a caller does: whatever was acknowledged stands once, nothing twice.
"""

from __future__ import annotations

import asyncio
import os
import shutil
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from gateway.clock import SystemClock
from gateway.store.ledgerlines import read_lines
from gateway.store.opening import open_store
from tests.fakes.store_samples import FixedTrust

CHILD = textwrap.dedent(
    """
    import asyncio, os, sys
    from pathlib import Path
    from gateway.clock import SystemClock
    from gateway.domain.events import EventDraft, EventName
    from gateway.errors import StoreUnavailable
    from gateway.ports import Commit
    from gateway.store import database
    from gateway.store.opening import open_store
    from tests.fakes.store_samples import FixedTrust, a_revocation

    database._PRAGMAS += ("wal_autocheckpoint = 12",)

    async def main():
        try:
            store = await open_store(Path(sys.argv[1]), SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        except StoreUnavailable:
            print("unavailable", flush=True)
            return
        for turn in range(8):
            for _ in range(2):
                try:
                    draft = EventDraft(EventName.LINK_LOST, "slip-gate", {"turn": turn})
                    await store.journal.commit(Commit(events=(draft,)))
                except StoreUnavailable:
                    continue
                print("committed", turn, flush=True)
                break
            try:
                await store.ledger.revoke(a_revocation(100 + turn), {})
            except StoreUnavailable:
                continue
            print("revoked", 100 + turn, flush=True)
        await store.close()

    asyncio.run(main())
    """
)


@pytest.fixture
def strace() -> str:
    found = shutil.which("strace")
    if found is None:
        assert os.environ.get("GATEPOST_REQUIRE_PEERS") != "1", "strace is not installed (Debian package strace)"
        pytest.skip("strace is not installed (Debian package strace)")
    return found


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    """A state folder that was opened and closed once, so that the faults fall into its use."""

    async def begin() -> None:
        store = await open_store(tmp_path / "begun", SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        await store.close()

    asyncio.run(begin())
    return tmp_path / "begun"


def run(strace: str, folder: Path, call: str, error: str, when: str) -> tuple[set[int], set[int], bool]:
    """Turns and revocations acknowledged, and whether the store could not be opened."""
    fault = [strace, "-f", "-qq", "-o", os.devnull, "-P", str(folder)]
    for name in ("gatepost.db", "gatepost.db-wal", "ledger", "ledger.part"):
        fault += ["-P", str(folder / name)]
    fault += ["-e", f"trace={call}", "-e", f"inject={call}:error={error}:when={when}"]
    done = subprocess.run(
        [*fault, sys.executable, "-c", CHILD, str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    lines = [line.split() for line in done.stdout.splitlines()]
    turns = {int(line[1]) for line in lines if line[0] == "committed"}
    return turns, {int(line[1]) for line in lines if line[0] == "revoked"}, ["unavailable"] in lines


def check(folder: Path, turns: set[int], revoked: set[int]) -> None:
    db = sqlite3.connect(folder / "gatepost.db")
    assert db.execute("pragma integrity_check").fetchone() == ("ok",)
    rows = db.execute("select number, json_extract(data, '$.turn') from events order by number").fetchall()
    db.close()
    kept = [row[1] for row in rows]
    assert len(kept) == len(set(kept)), "an event that was told as failed is there beside its second try"
    assert turns <= set(kept)
    assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
    entries = read_lines((folder / "ledger").read_bytes()).entries
    assert revoked <= {entry["revocation"]["serial"] for entry in entries if entry["type"] == "revoked"}


@pytest.mark.timeout(180)
@pytest.mark.parametrize(("call", "error"), [("fdatasync", "EIO"), ("fsync", "EIO"), ("pwrite64", "ENOSPC")])
def test_one_failed_call_costs_nothing_that_was_acknowledged(
    tmp_path: Path, begun: Path, strace: str, call: str, error: str
) -> None:
    """The n-th call fails once, for n over the whole life of a store; all turns are acknowledged in the end."""
    complete = 0
    for number in (1, 2, 3, 5, 8, 13, 21, 34):
        folder = shutil.copytree(begun, tmp_path / f"state-{number}")
        turns, revoked, unavailable = run(strace, folder, call, error, str(number))
        if not unavailable:
            check(folder, turns, revoked)
            assert turns == set(range(8))
            complete += 1
    assert complete >= 3


@pytest.mark.timeout(180)
@pytest.mark.parametrize(("call", "error"), [("fdatasync", "EIO"), ("pwrite64", "EROFS")])
def test_calls_that_fail_for_ever_acknowledge_nothing_more(
    tmp_path: Path, begun: Path, strace: str, call: str, error: str
) -> None:
    """From the n-th call on the disk is gone: no crash, no hang, and what was acknowledged before is there."""
    shares = []
    for number in (3, 8, 13):
        folder = shutil.copytree(begun, tmp_path / f"state-{number}")
        turns, revoked, unavailable = run(strace, folder, call, error, f"{number}+")
        if not unavailable:
            check(folder, turns, revoked)
            shares.append(len(turns))
    assert any(share < 8 for share in shares), "the fault came too late to prove anything"
