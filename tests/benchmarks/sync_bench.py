"""From a changed file to proven memory, against the wire: one revocation, 40 changes, a full memory of 1024.

    nice -n -19 python -m tests.benchmarks.sync_bench [--bauds 19200,115200] [--rounds 5]

The daemon runs as users run it, polling five times a second all the while; the virtual receiver keeps real line pacing
in a process of its own and counts what it sees. A span begins when the file has been written and the daemon is asked to
look at it (for a revocation: when it is asked for) and ends when the event that says "proven" is heard. The ideal
is that of memory_bench: the wire's own time for the transactions really sent, polls and read-backs included. So the
ratio holds fetching and checking the file, planning, the snapshot, the commits and the API. Figures are from a
pseudo-terminal.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.cli.client import ApiClient
from tests.benchmarks.memory_bench import SLOTS, Bench, running_process

CHANGES = 40
REST_S = 1.2
"""A file that changed less than a second ago is read again after a second of rest; here it has had that rest."""
_HEADER = "serial,holder,kind,group\n"
_GROUPS = '[groups.gate]\nslip-gate = { 1 = ["gate"] }\n[groups.both]\nslip-gate = { 1 = ["gate"], 2 = ["lamp"] }\n'


@dataclass(frozen=True)
class Span:
    """One piece of work: seconds, the wire's own seconds, and how many requests there were."""

    took_s: float
    ideal_s: float
    requests: int


class SyncBench(Bench):
    """A bench whose roster can be changed."""

    def __init__(self, folder: Path, baud: int) -> None:
        super().__init__(folder, baud)
        self._dice = random.Random(baud)
        self._serials = self._dice.sample(range(10_000_000, 90_000_000), SLOTS + 100)
        self._groups = dict.fromkeys(self._serials[:SLOTS], "both")

    def write_roster(self) -> None:
        """The file as a spreadsheet would leave it."""
        rows = "".join(f"{serial:010d},Berth {serial % 997},two-button,{g}\n" for serial, g in self._groups.items())
        (self.folder / "roster.csv").write_text(_HEADER + rows)
        (self.folder / "groups.toml").write_text(_GROUPS)

    def change(self) -> None:
        """40 people get other rights, 15 of whom leave for newcomers; in a random order of slots."""
        moved = self._dice.sample(list(self._groups), CHANGES)
        for serial in moved[15:]:
            self._groups[serial] = "gate" if self._groups[serial] == "both" else "both"
        free = [serial for serial in self._serials if serial not in self._groups]
        for serial, new in zip(moved[:15], free, strict=False):
            del self._groups[serial]
            self._groups[new] = "both"

    def any_serial(self) -> int:
        """Somebody who is in the memory."""
        return self._dice.choice(list(self._groups))

    def leave(self, serial: int) -> None:
        """Out of the roster too, so that nothing brings it back."""
        del self._groups[serial]

    async def span(self, client: ApiClient, act: Callable[[], Awaitable[Any]], wanted: str) -> Span:
        """From asking to the event that says so."""
        newest = (await client.get("/gateway"))["journal"]["newest"]
        waiting = asyncio.ensure_future(_hear(client, newest, wanted))
        await asyncio.sleep(0.3)
        before = await self.count()
        started = time.monotonic()
        await act()
        await waiting
        took_s = time.monotonic() - started
        after = await self.count()
        return Span(took_s, after.ideal_s(before, self.baud), after.requests - before.requests)


async def _hear(client: ApiClient, newest: str, wanted: str) -> None:
    async for event in client.stream(newest):
        name = event.document["type"]
        if name.endswith(("plan.failed", "plan.held")):
            raise SystemExit(f"{name}: {event.document['data']}")
        if name.endswith(wanted):
            return


def _say(baud: int, what: str, spans: list[Span]) -> None:
    took, ideal = (statistics.median(getattr(span, name) for span in spans) for name in ("took_s", "ideal_s"))
    ratio = statistics.median(span.took_s / span.ideal_s for span in spans)
    requests = statistics.median(span.requests for span in spans)
    text = f"{took:8.3f} s, ideal {ideal:8.3f} s, ratio {ratio:.3f}, {requests:.0f} requests"
    sys.stdout.write(f"{baud:>7} Bd  {what:<28} {text}, beyond the wire {took - ideal:.3f} s ({len(spans)} rounds)\n")
    sys.stdout.flush()


async def measure(bench: SyncBench, rounds: int) -> None:
    """Full, then rounds of 40 changes, then rounds of one revocation."""
    async with bench.daemon() as (client, _):
        await bench.wait_proven(client)

        async def sync() -> None:
            state = await client.send("POST", "/roster/fetches")
            if state["problem"]:
                raise SystemExit(state["problem"])
            plan = await client.send("POST", "/plans", {"receiver": "slip-gate"})
            if plan["state"] != "pending":
                raise SystemExit(f"the plan is {plan['state']}: {plan['hold']}")

        _say(bench.baud, "full memory, 1024 slots", [await bench.span(client, sync, "plan.applied")])
        spans = []
        for _ in range(rounds):
            bench.change()
            bench.write_roster()
            await asyncio.sleep(REST_S)
            spans.append(await bench.span(client, sync, "plan.applied"))
        _say(bench.baud, f"{CHANGES} changes", spans)
        spans = []
        for _ in range(rounds):
            serial = bench.any_serial()

            async def revoke(serial: int = serial) -> None:
                await client.send("POST", "/revocations", {"serial": f"{serial:010d}", "reason": "lost"})

            spans.append(await bench.span(client, revoke, "revocation.applied"))
            bench.leave(serial)
        _say(bench.baud, "one revocation", spans)


async def run(bauds: list[int], rounds: int) -> None:
    """All figures, one baud rate after the other."""
    for baud in bauds:
        with tempfile.TemporaryDirectory() as name:
            bench = SyncBench(Path(name), baud)
            bench.write_files()
            bench.write_roster()
            arguments = ("--link", f"{name}/tty", "--control", f"{name}/control", "--baud", str(baud), "--paced")
            async with running_process("virtual-receiver", *arguments, log=Path(name) / "receiver.log"):
                while not (bench.folder / "control").exists():
                    await asyncio.sleep(0.05)
                await measure(bench, rounds)


def main() -> None:
    """Read the arguments and run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--bauds", default="19200,115200")
    parser.add_argument("--rounds", type=int, default=5)
    arguments = parser.parse_args()
    asyncio.run(run([int(baud) for baud in arguments.bauds.split(",")], arguments.rounds))


if __name__ == "__main__":
    main()
