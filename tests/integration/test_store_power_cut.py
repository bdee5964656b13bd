"""Power loss at any moment of a working store: nothing acknowledged is lost, nothing is corrupt.

A child works under strace; its writes are replayed up to a random moment, what was not synced is dropped, torn and
mixed (see store_replay), and what is left is opened. As a control the same is done with `synchronous=normal`, which
must lose something, or else the harness sees nothing. GATEPOST_POWER_CUTS sets the number of cuts; 200 by default.
"""

from __future__ import annotations

import asyncio
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import textwrap
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gateway.clock import SystemClock
from gateway.store.ledgerlines import read_lines
from gateway.store.opening import open_store
from tests.fakes.store_samples import FixedTrust
from tests.integration.store_replay import TRACED, Disk, Operation, read_trace

CUTS = int(os.environ.get("GATEPOST_POWER_CUTS", "200"))

CHILD = textwrap.dedent(
    """
    import asyncio, os, sys
    from pathlib import Path
    from gateway.clock import SystemClock
    from gateway.domain.events import EventDraft, EventName
    from gateway.domain.receiver import RingPlace
    from gateway.ports import Commit, Fetched
    from gateway.store import database
    from gateway.store.opening import open_store
    from tests.fakes.store_samples import FixedTrust, a_mirror, a_revocation

    database._PRAGMAS = tuple(p.replace("= full", f"= {sys.argv[2]}") for p in database._PRAGMAS)
    database._PRAGMAS += ("wal_autocheckpoint = 60",)

    async def main():
        store = await open_store(Path(sys.argv[1]), SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        for turn in range(60):
            number = store.journal.newest.number + 1
            mirror = a_mirror(numbers=range(1, 3 + turn), revision=number) if turn % 3 == 0 else None
            draft = EventDraft(EventName.LINK_LOST, "slip-gate", {"turn": turn})
            await store.journal.commit(Commit((draft, draft), {"slip-gate": RingPlace(1, number)}, mirror))
            os.write(1, b"committed %d\\n" % (number + 1))
            if turn % 4 == 0:
                await store.ledger.revoke(a_revocation(number), {})
                os.write(1, b"revoked %d\\n" % number)
            if turn % 20 == 0:
                await store.roster_files.keep(f"{turn:064x}", Fetched(b"serial,holder\\n" * 100, None, ""))
                os.write(1, b"kept %d\\n" % turn)
        await store.close()

    asyncio.run(main())
    """
)


@dataclass
class Tally:
    """What the cuts did."""

    corrupt: int = 0
    lost: list[str] = field(default_factory=list)
    acknowledged: dict[str, set[int]] = field(
        default_factory=lambda: {"committed": set(), "revoked": set(), "kept": set()}
    )

    def lose(self, what: str, is_lost: bool) -> None:
        if is_lost:
            self.lost.append(what)


@pytest.fixture
def strace() -> str:
    found = shutil.which("strace")
    if found is None:
        assert os.environ.get("GATEPOST_REQUIRE_PEERS") != "1", "strace is not installed (Debian package strace)"
        pytest.skip("strace is not installed (Debian package strace)")
    return found


def traced(strace: str, folder: Path, synchronous: str) -> list[Operation]:
    trace = folder.with_name("trace")
    command = [strace, "-f", "-qq", "-y", "-xx", "-s", "300000", "-o", str(trace), "-e", f"trace={TRACED}"]
    child = [sys.executable, "-c", CHILD, str(folder), synchronous]
    done = subprocess.run([*command, *child], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return list(read_trace(trace.read_text(encoding="ascii")))


def cut_everywhere(strace: str, folder: Path, synchronous: str) -> Tally:
    tally, chance, left = Tally(), random.Random(206), folder.with_name("left")
    begin(folder)
    disk = Disk(folder)
    operations = traced(strace, folder, synchronous)
    moments = sorted(chance.choices(range(len(operations)), k=CUTS))
    for place, operation in enumerate(operations):
        disk.apply(operation)
        acknowledge(tally, operation)
        for _ in range(moments.count(place)):
            left.mkdir()
            disk.after_a_cut(left, chance)
            check(left, tally, opened=chance.random() < 0.1)
            shutil.rmtree(left)
    return tally


def begin(folder: Path) -> None:
    """A database that exists, so that each cut falls into its use."""

    async def once() -> None:
        store = await open_store(folder, SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        await store.close()

    asyncio.run(once())


def acknowledge(tally: Tally, operation: Operation) -> None:
    if operation.name == "write" and operation.words[0] == b"1":
        word, number = operation.words[2].decode().split()
        tally.acknowledged[word].add(int(number))


def check(left: Path, tally: Tally, *, opened: bool) -> None:
    if opened:
        reopen(left, tally)
        return
    db = sqlite3.connect(left / "gatepost.db")
    try:
        sound = db.execute("pragma integrity_check").fetchone() == ("ok",)
        count, newest = db.execute("select count(*), coalesce(max(number), 0) from events").fetchone()
        tally.corrupt += not sound or count != newest
        tally.lose("committed", newest < max(tally.acknowledged["committed"], default=0))
    except sqlite3.DatabaseError:
        tally.corrupt += 1
    finally:
        db.close()
    ledger = read_lines((left / "ledger").read_bytes()).entries
    revoked = {entry["revocation"]["serial"] for entry in ledger if entry["type"] == "revoked"}
    tally.lose("revoked", bool(tally.acknowledged["revoked"] - revoked))


def reopen(left: Path, tally: Tally) -> None:
    """As a daemon does: it must start, and have all that was acknowledged."""

    async def once() -> None:
        store = await open_store(left, SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        tally.corrupt += any("set aside" in notice or "epoch" in notice for notice in store.notices)
        tally.lose("committed", store.journal.newest.number < max(tally.acknowledged["committed"], default=0))
        tally.lose("revoked", bool(tally.acknowledged["revoked"] - set(store.ledger.revocations())))
        for turn in tally.acknowledged["kept"]:
            tally.lose("kept", await store.roster_files.load(f"{turn:064x}") is None)
        await store.close()

    asyncio.run(once())


@pytest.mark.timeout(120 + CUTS)
def test_no_power_cut_loses_or_corrupts_anything_acknowledged(tmp_path: Path, strace: str) -> None:
    """Events, revocations and kept rosters, at every moment; the database is sound each time."""
    tally = cut_everywhere(strace, tmp_path / "state", "full")
    assert max(tally.acknowledged["committed"]) == 120
    assert (tally.corrupt, tally.lost) == (0, [])


@pytest.mark.timeout(120 + CUTS)
def test_the_harness_sees_what_is_not_synced(tmp_path: Path, strace: str) -> None:
    """Without a sync for each commit acknowledged events are lost, and the same counting finds them."""
    tally = cut_everywhere(strace, tmp_path / "state", "normal")
    assert "committed" in tally.lost
