"""The line against the ideal wire time, and against other masters, in one interleaved run.

    python -m tests.benchmarks.line_bench [--bauds 9600,19200,115200] [--rounds 5] [--seconds 0.7]

Ideal time of one transaction: (request + answer bytes) x 10 / baud + turnaround + two silences. Prints the
median over the rounds of time over ideal, processor seconds per 1,000 transactions, the ratio of the latter to
pymodbus's, and the gaps shorter than the standard's silence that the unit saw. Figures are from a
pseudo-terminal; minimalmodbus takes part when it is installed.
"""

from __future__ import annotations

import argparse
import asyncio
import importlib.util
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any

from gateway import modbus
from gateway.clock import SystemClock
from gateway.domain.urgency import Urgency
from gateway.line import Line, LineConfig
from tests.benchmarks.paced_unit import silence_s

TURNAROUND_S = 0.001
ANSWER_TIME_S = 0.3
WORKS = {"poll": (8, 21), "read": (8, 255), "write": (209, 8)}  # bytes of request and answer


@dataclass
class Figures:
    """What the rounds brought for one client and one work."""

    ratios: list[float] = field(default_factory=list)
    cpu: list[float] = field(default_factory=list)
    short: int = 0


async def _timed(one: Callable[[], Awaitable[object]], count: int) -> tuple[float, float]:
    for _ in range(2):
        await one()
    started, cpu = time.perf_counter(), time.process_time()
    for _ in range(count):
        await one()
    return time.perf_counter() - started, time.process_time() - cpu


async def own(port: str, baud: int, work: str, count: int) -> tuple[float, float]:
    """The line of this project."""
    line = Line(LineConfig("bench", port, baud=baud), SystemClock())
    requests: dict[str, modbus.Request] = {
        "poll": modbus.ReadHoldingRegisters(0, 8),
        "read": modbus.ReadHoldingRegisters(0, 125),
        "write": modbus.WriteRegisters(0, bytes(200)),
    }
    request = requests[work]
    owner = asyncio.ensure_future(line.run())
    await line.wait_open()
    result = await _timed(lambda: line.transact(1, request, urgency=Urgency.BULK, answer_time_s=ANSWER_TIME_S), count)
    counters = line.counters
    if counters.retries:
        print(f"  {work} {baud}: {counters.retries} retries", file=sys.stderr)
    owner.cancel()
    await asyncio.gather(owner, return_exceptions=True)
    return result


async def pymodbus_async(port: str, baud: int, work: str, count: int) -> tuple[float, float]:
    """pymodbus's asyncio client."""
    from pymodbus.client import AsyncModbusSerialClient  # noqa: PLC0415  # as optional as the next client

    client = AsyncModbusSerialClient(port, baudrate=baud, timeout=2)
    await client.connect()
    values = [0] * 100
    works: dict[str, Callable[[], Awaitable[object]]] = {
        "poll": lambda: client.read_holding_registers(0, count=8, device_id=1),
        "read": lambda: client.read_holding_registers(0, count=125, device_id=1),
        "write": lambda: client.write_registers(0, values, device_id=1),
    }
    result = await _timed(works[work], count)
    client.close()
    await asyncio.sleep(0.01)
    return result


async def minimalmodbus_sync(port: str, baud: int, work: str, count: int) -> tuple[float, float]:
    """minimalmodbus, which blocks."""
    minimalmodbus: Any = importlib.import_module("minimalmodbus")
    client = minimalmodbus.Instrument(port, 1)
    client.serial.baudrate = baud
    client.serial.timeout = 2
    values = [0] * 100
    works: dict[str, Callable[[], object]] = {
        "poll": lambda: client.read_registers(0, 8),
        "read": lambda: client.read_registers(0, 125),
        "write": lambda: client.write_registers(0, values),
    }

    async def one() -> None:
        works[work]()

    result = await _timed(one, count)
    client.serial.close()
    return result


CLIENTS = {"own": own, "pymodbus": pymodbus_async}
if importlib.util.find_spec("minimalmodbus"):
    CLIENTS["minimalmodbus"] = minimalmodbus_sync


def ideal_s(work: str, baud: int) -> float:
    """The least that a transaction can take without breaking the standard."""
    return sum(WORKS[work]) * 10 / baud + TURNAROUND_S + 2 * silence_s(baud)


def one_round(client: str, baud: int, work: str, seconds: float, figures: Figures) -> None:
    """A fresh unit, a fresh client, about `seconds` of work."""
    count = max(4, int(seconds / ideal_s(work, baud)))
    command = [sys.executable, "-m", "tests.benchmarks.paced_unit", "--baud", str(baud)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as unit:
        assert unit.stdin is not None
        assert unit.stdout is not None
        port = unit.stdout.readline().strip()
        elapsed, cpu = asyncio.run(CLIENTS[client](port, baud, work, count))
        unit.stdin.close()
        report = json.loads(unit.stdout.readline())
    figures.ratios.append(elapsed / count / ideal_s(work, baud))
    figures.cpu.append(cpu / count * 1000)
    figures.short += report["short"]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--bauds", default="9600,19200,115200")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--seconds", type=float, default=0.7)
    parser.add_argument("--clients", default=",".join(CLIENTS))
    options = parser.parse_args()
    clients = options.clients.split(",")
    print(f"{'baud':>7} {'work':6} {'client':14} time/ideal  cpu s/1000  cpu/pymodbus  short gaps")
    for baud in map(int, options.bauds.split(",")):
        for work in WORKS:
            figures = {client: Figures() for client in clients}
            for _ in range(options.rounds):
                for client in clients:
                    one_round(client, baud, work, options.seconds, figures[client])
            for client, figure in figures.items():
                base = statistics.median(figures["pymodbus"].cpu) if "pymodbus" in figures else float("nan")
                cpu = statistics.median(figure.cpu)
                ratio = statistics.median(figure.ratios)
                print(
                    f"{baud:>7} {work:6} {client:14} {ratio:10.3f}  {cpu:10.3f}  {cpu / base:12.2f}  "
                    f"{figure.short:10d}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
