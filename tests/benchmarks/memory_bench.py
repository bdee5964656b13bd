"""The whole daemon against the wire: full write, full read, warm start, poll wait behind bulk, processor, memory.

    python -m tests.benchmarks.memory_bench [--bauds 19200,115200] [--idle-seconds 20]

A virtual receiver with 1024 slots keeps real line pacing in a process of its own and counts what it sees; the daemon
runs as users run it, polling five times a second all the while. The ideal of a span is (bytes both ways) x 10 / baud,
plus for each request the receiver's 1 ms turnaround and two silences of the standard, over the transactions that were
really sent: frames as large as the line chose them, polls and read-backs included. Figures are from a pseudo-terminal.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import re
import signal
import statistics
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from gateway.cli.client import ApiClient, CannotReach
from gateway.clock import SystemClock
from gateway.domain.urgency import Urgency
from gateway.line import Line, LineConfig
from gateway.maps import load_map
from gateway.receivers import build_receiver
from tests.benchmarks.paced_unit import silence_s

TURNAROUND_S = 0.001
SLOTS = 1024


@dataclass(frozen=True)
class Count:
    """What the receiver has seen up to a moment."""

    at: float
    requests: int
    bytes: int
    short_gaps: int

    def ideal_s(self, before: Count, baud: int) -> float:
        """The wire's own time for what was sent since."""
        requests, size = self.requests - before.requests, self.bytes - before.bytes
        return size * 10 / baud + requests * (TURNAROUND_S + 2 * silence_s(baud))


@asynccontextmanager
async def running_process(*arguments: str, log: Path) -> AsyncIterator[asyncio.subprocess.Process]:
    with log.open("ab") as output:
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "gateway", *arguments, stdin=asyncio.subprocess.DEVNULL, stdout=output, stderr=output
        )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.send_signal(signal.SIGTERM)
            await process.wait()


class Bench:
    """One receiver, one daemon after the other."""

    def __init__(self, folder: Path, baud: int) -> None:
        self.folder = folder
        self.baud = baud

    async def count(self) -> Count:
        """Ask the receiver over its control socket."""
        reader, writer = await asyncio.open_unix_connection(self.folder / "control")
        writer.write(b"show counters\n")
        found = json.loads(await reader.readline())
        writer.close()
        return Count(time.monotonic(), found["requests"], found["bytes_in"] + found["bytes_out"], found["short_gaps"])

    def write_files(self) -> None:
        """Settings, and a roster that fills the memory."""
        dice = random.Random(self.baud)
        serials = dice.sample(range(10_000_000, 90_000_000), SLOTS)
        rows = "".join(f"{serial:010d},Berth {n},two-button,all\n" for n, serial in enumerate(serials, 1))
        (self.folder / "roster.csv").write_text("serial,holder,kind,group\n" + rows)
        (self.folder / "groups.toml").write_text('[groups.all]\nslip-gate = { 1 = ["gate"], 2 = ["lamp"] }\n')
        (self.folder / "gatepost.toml").write_text(
            f'[gateway]\nsite = "fennel-quay"\nclock = "trusted"\nstate = "{self.folder}/state"\n'
            f'[api]\nlisten = "127.0.0.1:0"\nsocket = "{self.folder}/api.sock"\n'
            f'[lines.quay]\nport = "{self.folder}/tty"\nbaud = {self.baud}\n'
            '[receivers.slip-gate]\nline = "quay"\noutputs = { 1 = "gate", 2 = "lamp" }\n'
            f'[roster]\nsource = "{self.folder}/roster.csv"\ngroups = "{self.folder}/groups.toml"\n'
        )

    @asynccontextmanager
    async def daemon(self) -> AsyncIterator[tuple[ApiClient, int]]:
        """A daemon and a client that reaches it."""
        async with AsyncExitStack() as stack:
            arguments = ("run", "--config", str(self.folder / "gatepost.toml"))
            process = await stack.enter_async_context(running_process(*arguments, log=self.folder / "gateway.log"))
            client = await stack.enter_async_context(ApiClient(socket=self.folder / "api.sock"))
            while True:
                try:
                    await client.get("/gateway")
                    break
                except CannotReach:
                    await asyncio.sleep(0.01)
            yield client, process.pid

    async def wait_proven(self, client: ApiClient) -> None:
        """Until the mirror is proven equal to the receiver."""
        while (await client.get("/receivers/slip-gate"))["mirror_revision"] is None:
            await asyncio.sleep(0.02)


def _say(what: str, baud: int, text: str) -> None:
    sys.stdout.write(f"{baud:>7} Bd  {what:<28} {text}\n")
    sys.stdout.flush()


def _ratio(before: Count, after: Count, baud: int) -> str:
    took, ideal = after.at - before.at, after.ideal_s(before, baud)
    gaps = after.short_gaps - before.short_gaps
    requests = after.requests - before.requests
    return f"{took / ideal:.3f} of the ideal ({took:.2f} s, {requests} requests, {gaps} short gaps)"


async def full_write(bench: Bench) -> None:
    """From an empty memory to 1024 slots, written, read back and proven."""
    async with bench.daemon() as (client, _):
        await bench.wait_proven(client)
        before = await bench.count()
        plan = await client.send("POST", "/plans", {"receiver": "slip-gate"})
        going = plan
        while going["state"] in ("pending", "applying"):
            await asyncio.sleep(0.02)
            going = await client.get(f"/plans/{plan['id']}/application")
        after = await bench.count()
        if going["state"] != "applied":
            raise SystemExit(f"the plan is {going['state']}: {going['words']}")
        _say("full write, read back, proof", bench.baud, _ratio(before, after, bench.baud))


async def full_read(bench: Bench) -> None:
    """A new gateway reads a full memory."""
    (bench.folder / "state").rename(bench.folder / "state.before")
    before = await bench.count()
    async with bench.daemon() as (client, _):
        while (now := await bench.count()).requests == before.requests:
            await asyncio.sleep(0.005)
        await bench.wait_proven(client)
        _say("full read", bench.baud, _ratio(now, await bench.count(), bench.baud))


async def warm_start(bench: Bench) -> None:
    """A gateway that knows the memory starts again; its mirror is proven by sums."""
    before = await bench.count()
    started = time.monotonic()
    async with bench.daemon() as (client, _):
        ready = time.monotonic()
        await bench.wait_proven(client)
        proven = time.monotonic()
        after = await bench.count()
    text = f"{proven - started:.2f} s from the process's start, API after {ready - started:.2f} s, "
    _say("warm start, unchanged", bench.baud, text + f"{after.requests - before.requests} requests")


async def idle(bench: Bench, seconds: float) -> None:
    """Five polls a second and nothing else."""
    async with bench.daemon() as (client, pid):
        await bench.wait_proven(client)
        await asyncio.sleep(2)
        cpu, at = _cpu_s(pid), time.monotonic()
        await asyncio.sleep(seconds)
        share = (_cpu_s(pid) - cpu) / (time.monotonic() - at)
        rate = (await client.get("/receivers/slip-gate"))["poll_rate_hz"]
        resident = _resident_mib(pid)
    _say("idle", bench.baud, f"{share:.2%} of a core at {rate:.1f} polls a second, {resident:.0f} MiB resident")


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _resident_mib(pid: int) -> float:
    found = re.search(r"VmRSS:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    return int(found[1]) / 1024 if found else 0.0


async def poll_wait(bench: Bench) -> None:
    """Polls beside a bulk read on one line: how long each waits beyond its own exchange."""
    clock = SystemClock()
    line = Line(LineConfig("quay", str(bench.folder / "tty"), bench.baud), clock)
    driver = build_receiver("slip-gate", load_map("reference"), line, 1, clock=clock)
    alone: list[float] = []
    waits: list[float] = []
    async with asyncio.TaskGroup() as group:
        owner = group.create_task(line.run())
        await line.wait_open()
        await driver.identify()
        for _ in range(20):
            started = clock.monotonic()
            await driver.read_status()
            alone.append(clock.monotonic() - started)
        bulk = group.create_task(driver.read_slots(range(1, SLOTS + 1), urgency=Urgency.BULK))
        while not bulk.done():
            await clock.sleep(0.2 * random.uniform(0.5, 1.5))
            started = clock.monotonic()
            await driver.read_status()
            waits.append(clock.monotonic() - started - statistics.median(alone))
        owner.cancel()
    waits.sort()
    p95 = waits[min(int(len(waits) * 0.95), len(waits) - 1)]
    text = f"p95 {p95 * 1000:.1f} ms, most {waits[-1] * 1000:.1f} ms, over {len(waits)} polls"
    _say("poll wait behind a bulk read", bench.baud, text)


async def run(bauds: list[int], idle_seconds: float) -> None:
    """All figures, one baud rate after the other."""
    for baud in bauds:
        with tempfile.TemporaryDirectory() as name:
            bench = Bench(Path(name), baud)
            bench.write_files()
            arguments = ("--link", f"{name}/tty", "--control", f"{name}/control", "--baud", str(baud), "--paced")
            async with running_process("virtual-receiver", *arguments, log=Path(name) / "receiver.log"):
                while not (bench.folder / "control").exists():
                    await asyncio.sleep(0.05)
                await full_write(bench)
                await warm_start(bench)
                await full_read(bench)
                await poll_wait(bench)
                await idle(bench, idle_seconds)


def main() -> None:
    """Read the arguments and run."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--bauds", default="19200,115200")
    parser.add_argument("--idle-seconds", type=float, default=20.0)
    arguments = parser.parse_args()
    asyncio.run(run([int(baud) for baud in arguments.bauds.split(",")], arguments.idle_seconds))


if __name__ == "__main__":
    main()
