"""A disk that is full for a while: nothing is acknowledged that isn't there, reading goes on, and it recovers.

A child lowers its own largest file size (RLIMIT_FSIZE), which makes writes fail with EFBIG where a full disk says
ENOSPC; it needs no privileges. Where a name space with a tmpfs of 6 MiB can be made, the real ENOSPC is met as well.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
import textwrap
from pathlib import Path
from typing import Any

import pytest

CHILD = textwrap.dedent(
    """
    import asyncio, json, os, resource, sys
    from pathlib import Path
    from gateway.clock import SystemClock
    from gateway.domain.events import EventDraft, EventName
    from gateway.errors import StoreUnavailable
    from gateway.ports import Commit
    from gateway.store.opening import open_store
    from tests.fakes.store_samples import FixedTrust, a_revocation

    folder, how, seen = Path(sys.argv[1]), sys.argv[2], {}
    ballast = folder.parent / "ballast"

    def fill():
        if how == "limit":
            resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, resource.RLIM_INFINITY))
            return
        with open(ballast, "wb", buffering=0) as file:
            try:
                while True:
                    file.write(bytes(4096))
            except OSError:
                pass

    def free():
        if how == "limit":
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        else:
            ballast.unlink()

    async def main():
        store = await open_store(folder, SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=262_144)
        draft = EventDraft(EventName.LINK_LOST, "slip-gate", {"ballast": "x" * 20_000})
        await store.journal.commit(Commit(events=(draft,)))
        fill()
        acknowledged = 1
        try:
            for _ in range(1000):
                await store.journal.commit(Commit(events=(draft,)))
                acknowledged += 1
        except StoreUnavailable as fault:
            seen["remedy"] = fault.remedy
        seen["acknowledged"] = acknowledged
        seen["problem"] = store.journal.problem
        seen["newest_when_full"] = store.journal.newest.number
        seen["read_when_full"] = len(await store.journal.read(0, limit=2000))
        await store.ledger.revoke(a_revocation(7, asked_by="somebody " * 1000), {})
        seen["reserve_taken"] = not (folder / "reserve").exists()
        free()
        await store.journal.commit(Commit(events=(draft,)))
        await store.ledger.revoke(a_revocation(8), {})
        seen["problem_after"] = store.journal.problem
        await store.close()
        store = await open_store(folder, SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=262_144)
        seen["notices"] = store.notices
        seen["numbers"] = [event.id.number for event in await store.journal.read(0, limit=2000)]
        seen["revoked"] = sorted(store.ledger.revocations())
        await store.close()
        print(json.dumps(seen))

    asyncio.run(main())
    """
)


#: Runs a command with an empty tmpfs of 6 MiB on the folder that is its first argument.
SMALL_DISK = ["unshare", "-rm", "sh", "-c", 'mount -t tmpfs -o size=6m none "$0" && exec "$@"']


def ways() -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        try:
            small = subprocess.run([*SMALL_DISK, folder, "true"], capture_output=True, check=False).returncode == 0
        except FileNotFoundError:
            small = False
    return ["limit", "tmpfs"] if small else ["limit"]


def run(folder: Path, how: str) -> dict[str, Any]:
    around = [*SMALL_DISK, str(folder.parent)] if how == "tmpfs" else []
    command = [*around, sys.executable, "-c", CHILD, str(folder), how]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def check(seen: dict[str, Any]) -> None:
    assert seen["remedy"]
    assert seen["problem"]
    assert seen["newest_when_full"] == seen["read_when_full"] == seen["acknowledged"] < 1000
    assert seen["problem_after"] == ""
    assert seen["notices"] == []
    assert seen["numbers"] == list(range(1, seen["acknowledged"] + 2))
    assert seen["revoked"] == [7, 8]


@pytest.mark.parametrize("how", ways())
def test_a_full_disk_is_survived(tmp_path: Path, how: str) -> None:
    """Commits fail with a sentence, reads and a revocation go on; once there is room the next number is n + 1."""
    seen = run(tmp_path / "state", how)
    check(seen)
    assert seen["reserve_taken"] is (how == "tmpfs"), "the reserve is for a full disk, not for files that fit"
