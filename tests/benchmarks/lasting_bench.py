"""What lasts, in figures: bytes written to the card at rest and per event; a start after SIGKILL with a long journal.

    python -m tests.benchmarks.lasting_bench [--idle-seconds 60] [--presses 100] [--rows 100000]

Beside one virtual receiver. Bytes are the kernel's `write_bytes` of the process, what it gave to the disk (proc(5)); a
card writes more than that inside. The start is from SIGKILL, through a new interpreter, to the first answer of the API.
For goals R9 and R12 of docs/reliability.md.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import re
import socket
import subprocess
import sys
import time
from pathlib import Path

from gateway.clock import SystemClock
from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit
from gateway.store.opening import open_store
from tests.fakes.store_samples import FixedTrust
from tests.integration.yard import Yard, berths, open_yard

DAY_S = 86_400


def written(pid: int) -> int:
    """Bytes that this process has caused to be written to the disk."""
    found = re.search(r"^write_bytes: (\d+)$", Path(f"/proc/{pid}/io").read_text(), re.MULTILINE)
    assert found
    return int(found[1])


def at_rest(yard: Yard, seconds: float) -> None:
    """Five polls a second, nothing happens."""
    pid = yard.daemon.process.pid
    before, began = written(pid), time.monotonic()
    time.sleep(seconds)
    daily = (written(pid) - before) / (time.monotonic() - began) * DAY_S
    print(f"at rest: {written(pid) - before} bytes in {seconds:.0f} s, {daily / 2**20:.2f} MiB a day")


def presses(yard: Yard, count: int) -> None:
    """One known transmitter after the other, each a commit of its own."""
    pid, line = yard.daemon.process.pid, yard.lines["quayside"]
    before, first = written(pid), yard.daemon.get("/gateway")["journal"]["newest"]
    for _ in range(count):
        line.tell("press 0048200001 1")
        line.tell("release 0048200001 1")
        time.sleep(0.7)
    time.sleep(1.5)
    events = _number(yard.daemon.get("/gateway")["journal"]["newest"]) - _number(first)
    size = written(pid) - before
    print(f"{count} presses: {events} events, {size / 1024:.0f} KiB, {size / max(1, events) / 1024:.1f} KiB an event")
    print(f"a day of 1,000 such events: {1000 * size / max(1, events) / 2**20:.1f} MiB")


def _number(event_id: str) -> int:
    return int(event_id.rpartition("-")[2])


async def fill(folder: Path, rows: int) -> None:
    """So many events, in commits of 500."""
    store = await open_store(folder, SystemClock(), FixedTrust(), boot_id="bench")
    draft = EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": 1, "name": "gate closed", "violated": True})
    for _ in range(rows // 500):
        await store.journal.commit(Commit(events=(draft,) * 500))
    await store.close()


def start_after_kill(yard: Yard, times: int = 5) -> None:
    """From SIGKILL to the first answer."""
    spans, began = list[float](), None
    for _ in range(times + 1):
        with subprocess.Popen(
            [sys.executable, "-m", "gateway", "run", "--config", str(yard.config)], stderr=subprocess.DEVNULL
        ) as process:
            while not _answers(yard):
                time.sleep(0.005)
            if began is not None:
                spans.append(time.monotonic() - began)
            began = time.monotonic()
            process.kill()
    size = (yard.folder / "state" / "gatepost.db").stat().st_size / 2**20
    print(f"start after SIGKILL, journal of {size:.0f} MiB: {json.dumps([round(span, 2) for span in sorted(spans)])} s")


def _answers(yard: Yard) -> bool:
    with socket.socket(socket.AF_UNIX) as door:
        if door.connect_ex(str(yard.socket)) != 0:
            return False
        door.sendall(b"GET /healthz/live HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        return b" 200 " in door.recv(100)


def run(idle_seconds: float, press_count: int, rows: int) -> None:
    with open_yard() as yard:
        yard.write_settings()
        yard.write_roster(*berths(3))
        yard.line("quayside")
        yard.start().wait_mirrored("slip-gate")
        assert yard.run("roster", "apply").code == 0
        time.sleep(5)
        at_rest(yard, idle_seconds)
        presses(yard, press_count)
        yard.daemon.stop()
        asyncio.run(fill(yard.folder / "state", rows))
        start_after_kill(yard)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--idle-seconds", type=float, default=60.0)
    parser.add_argument("--presses", type=int, default=100)
    parser.add_argument("--rows", type=int, default=100_000)
    arguments = parser.parse_args()
    os.environ.setdefault("TMPDIR", "/var/tmp")  # a disk, where /tmp may be memory
    run(arguments.idle_seconds, arguments.presses, arguments.rows)


if __name__ == "__main__":
    main()
