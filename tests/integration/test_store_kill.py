"""A daemon killed at any moment loses nothing that it acknowledged (RELIABILITY goal: 0 lost, 0 gaps, 0 doubles).

A child process commits to a real store and prints the number of each event once its commit has returned; it is
killed with SIGKILL after a random while. GATEPOST_KILLS sets the number of cycles; 30 unless told otherwise.
"""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
from pathlib import Path

import pytest

from gateway.store.ladder import shipped_steps
from gateway.store.ledgerlines import read_lines

CYCLES = int(os.environ.get("GATEPOST_KILLS", "30"))

CHILD = textwrap.dedent(
    """
    import asyncio, os, sys
    from pathlib import Path
    from gateway.clock import SystemClock
    from gateway.domain.events import EventDraft, EventName
    from gateway.domain.receiver import RingPlace
    from gateway.ports import Commit
    from gateway.store.opening import open_store
    from tests.fakes.store_samples import FixedTrust, a_mirror, a_revocation

    def say(line):
        os.write(1, (line + "\\n").encode())

    async def main():
        store = await open_store(Path(sys.argv[1]), SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        say(f"open {store.journal.newest.epoch} {len(store.notices)}")
        for turn in range(1_000_000):
            drafts = tuple(EventDraft(EventName.LINK_LOST, "slip-gate", {"turn": turn}) for _ in range(1 + turn % 3))
            first = store.journal.newest.number + 1
            place = RingPlace(1, first)
            mirror = a_mirror(numbers=range(1, 2 + turn % 40), revision=first) if turn % 5 == 0 else None
            events = await store.journal.commit(Commit(drafts, {"slip-gate": place}, mirror))
            say(f"committed {events[0].id.number} {events[-1].id.number}")
            if turn % 7 == 0:
                serial = 1 + first
                await store.ledger.revoke(a_revocation(serial), {})
                say(f"revoked {serial}")

    asyncio.run(main())
    """
)


def run_and_kill(folder: Path, after_s: float) -> list[list[str]]:
    """What the child acknowledged before it was killed."""
    with subprocess.Popen([sys.executable, "-c", CHILD, str(folder)], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        lines = [child.stdout.readline()]
        assert lines[0].startswith("open"), "the child could not open the store"
        killer = threading.Timer(after_s, child.send_signal, [signal.SIGKILL])
        killer.start()
        lines += child.stdout.readlines()
        killer.join()
    assert child.returncode == -signal.SIGKILL
    return [line.split() for line in lines if line.endswith("\n")]


@pytest.mark.timeout(60 + 5 * CYCLES)
def test_nothing_acknowledged_is_lost_however_often_it_is_killed(tmp_path: Path) -> None:
    """After each kill: intact, every acknowledged event and revocation there, numbers 1 to n without gap or double."""
    folder, chance = tmp_path / "state", random.Random(8470)
    acknowledged, revoked, epochs = 0, set[int](), set[str]()
    for _ in range(CYCLES):
        for word, *values in run_and_kill(folder, chance.uniform(0.02, 0.25)):
            if word == "open":
                epochs.add(values[0])
                assert values[1] == "0", "an ordinary kill is nothing to tell people of"
            elif word == "committed":
                assert int(values[0]) > acknowledged, "a number was given twice"
                acknowledged = int(values[1])
            else:
                revoked.add(int(values[0]))
        db = sqlite3.connect(folder / "gatepost.db")
        assert db.execute("pragma integrity_check").fetchone() == ("ok",)
        count, newest = db.execute("select count(*), max(number) from events").fetchone()
        assert newest == count >= acknowledged
        assert db.execute("select number from cursors").fetchone()[0] <= newest
        db.close()
        ledger = read_lines((folder / "ledger").read_bytes())
        assert ledger.damaged == ()
        assert revoked <= {entry["revocation"]["serial"] for entry in ledger.entries if entry["type"] == "revoked"}
    assert len(epochs) == 1
    assert acknowledged > CYCLES


MIGRATE = textwrap.dedent(
    """
    import asyncio, os, sys
    from pathlib import Path
    from gateway.store.database import Database

    steps = [f"create table t{n} (x); insert into t{n} "
             "with recursive c(x) as (select 1 union all select x + 1 from c where x < 3000) select x from c;"
             for n in range(40)]

    async def main():
        database = Database(Path(sys.argv[1]), steps)
        os.write(1, b"go\\n")
        await database.open()

    asyncio.run(main())
    """
)


@pytest.mark.timeout(120)
def test_a_migration_killed_anywhere_is_whole_or_not_begun(tmp_path: Path) -> None:
    """Forty steps, killed at random moments: the version always tells exactly which tables there are, and full ones."""
    path, chance, seen = tmp_path / "x.db", random.Random(502), set[int]()
    for _ in range(15):
        for part in tmp_path.iterdir():
            part.unlink()
        with subprocess.Popen([sys.executable, "-c", MIGRATE, str(path)], stdout=subprocess.PIPE) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == b"go\n"
            killer = threading.Timer(chance.uniform(0.0, 0.08), child.send_signal, [signal.SIGKILL])
            killer.start()
            child.wait()
            killer.cancel()
        if not path.exists():
            continue
        db = sqlite3.connect(path)
        (version,) = db.execute("pragma user_version").fetchone()
        tables = {row[0] for row in db.execute("select name from sqlite_schema where type = 'table'")}
        assert tables == {f"t{n}" for n in range(version)}
        assert all(db.execute(f"select count(*) from {table}").fetchone() == (3000,) for table in tables)
        db.close()
        seen.add(version)
    assert len(seen) > 1, "the kills all came at one moment and prove nothing"
    assert len(shipped_steps()) >= 1
