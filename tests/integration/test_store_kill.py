"""A daemon killed at any moment loses nothing that it acknowledged (RELIABILITY goal: 0 lost, 0 gaps, 0 doubles).

A child process opens a real store, commits to it and notes the number of each event once its commit has returned; it is
killed with SIGKILL after a random while, which may fall into the opening too. Children are forked from a process that
has loaded everything, so that the kills fall into the work and not into the loading of Python. GATEPOST_KILLS sets the
number of kills; 200 unless told otherwise. Each state folder lives through fifty of them.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import random
import signal
import sqlite3
import subprocess
import sys
import textwrap
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gateway.clock import SystemClock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.receiver import RingPlace
from gateway.ports import Commit
from gateway.store.ladder import shipped_steps
from gateway.store.ledgerlines import read_lines
from gateway.store.opening import open_store
from tests.fakes.store_samples import FixedTrust, a_mirror, a_revocation

KILLS = int(os.environ.get("GATEPOST_KILLS", "200"))
KILLS_A_FOLDER = 50

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload([__name__])


def work_until_killed(folder: Path, notes: Path) -> None:
    """In the child: note each thing once it has been acknowledged, in one write, which outlives a SIGKILL."""
    out = os.open(notes, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)

    def note(line: str) -> None:
        os.write(out, (line + "\n").encode())

    async def work() -> None:
        store = await open_store(folder, SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)
        note(f"open {store.journal.newest.epoch} {len(store.notices)}")
        for turn in range(1_000_000):
            drafts = tuple(EventDraft(EventName.LINK_LOST, "slip-gate", {"turn": turn}) for _ in range(1 + turn % 3))
            first = store.journal.newest.number + 1
            mirror = a_mirror(numbers=range(1, 2 + turn % 40), revision=first) if turn % 5 == 0 else None
            events = await store.journal.commit(Commit(drafts, {"slip-gate": RingPlace(1, first)}, mirror))
            note(f"committed {events[0].id.number} {events[-1].id.number}")
            if turn % 7 == 0:
                await store.ledger.revoke(a_revocation(1 + first), {})
                note(f"revoked {1 + first}")

    asyncio.run(work())


def run_and_kill(folder: Path, after_s: float, *, opening: bool) -> list[list[str]]:
    """What the child acknowledged before it was killed, so long after it began `opening`, else its work."""
    notes = folder.with_name("notes")
    notes.unlink(missing_ok=True)
    child = _CONTEXT.Process(target=work_until_killed, args=(folder, notes))
    child.start()
    while not opening and not _is_open(notes) and child.is_alive():
        time.sleep(0.001)
    time.sleep(after_s)  # the moment of the kill, not a wait for anything
    child.kill()
    child.join()
    assert child.exitcode == -signal.SIGKILL, "it ended before it was killed"
    text = notes.read_text(encoding="ascii") if notes.exists() else ""
    return [line.split() for line in text.splitlines()]


def _is_open(notes: Path) -> bool:
    return notes.exists() and notes.stat().st_size > 0


@dataclass
class Acknowledged:
    """What the children of one state folder were told is safe."""

    newest: int = 0
    kills_at_work: int = 0
    revoked: set[int] = field(default_factory=set)
    epochs: set[str] = field(default_factory=set)

    def take(self, told: list[list[str]]) -> None:
        self.kills_at_work += any(word == "committed" for word, *_ in told)
        for word, *values in told:
            if word == "open":
                self.epochs.add(values[0])
                assert values[1] == "0", "an ordinary kill is nothing to tell people of"
            elif word == "committed":
                assert int(values[0]) > self.newest, "a number was given twice"
                self.newest = int(values[1])
            else:
                self.revoked.add(int(values[0]))


def check(folder: Path, told: Acknowledged) -> None:
    """Intact, every acknowledged event and revocation there, numbers 1 to n without gap or double."""
    if not (folder / "gatepost.db").exists():
        assert told.newest == 0
        return
    db = sqlite3.connect(folder / "gatepost.db")
    assert db.execute("pragma integrity_check").fetchone() == ("ok",)
    if told.newest:
        count, newest = db.execute("select count(*), max(number) from events").fetchone()
        assert newest == count >= told.newest
        assert db.execute("select number from cursors").fetchone()[0] <= newest
    db.close()
    ledger = read_lines((folder / "ledger").read_bytes() if (folder / "ledger").exists() else b"")
    assert ledger.damaged == ()
    assert told.revoked <= {entry["revocation"]["serial"] for entry in ledger.entries if entry["type"] == "revoked"}


@pytest.mark.timeout(120 + 5 * KILLS_A_FOLDER)
@pytest.mark.parametrize("first", range(0, KILLS, KILLS_A_FOLDER))
def test_nothing_acknowledged_is_lost_however_often_it_is_killed(tmp_path: Path, first: int) -> None:
    """After each kill everything acknowledged so far is there, and the state is in order."""
    folder, chance, told = tmp_path / "state", random.Random(8470 + first), Acknowledged()
    kills = min(KILLS_A_FOLDER, KILLS - first)
    for _ in range(kills):
        told.take(run_and_kill(folder, chance.uniform(0.0, 0.2), opening=chance.random() < 0.2))
        check(folder, told)
    assert len(told.epochs) == 1
    assert told.kills_at_work > kills / 3, "the kills came before the work and prove little"
    assert told.newest > kills


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
