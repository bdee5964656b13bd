"""Processor time of the two readings that grow with a site: a full memory's records and sums, and a large roster.

    python -m tests.benchmarks.reading_bench

Prints milliseconds, and for the memory the share of the wire's own time for reading it at 115200 Bd.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from zoneinfo import ZoneInfo

from gateway.domain.receiver import Limits, Slot
from gateway.maps import Role, load_map
from gateway.receivers.slotcodec import SlotCodec
from gateway.roster import RosterFileReader

SLOTS, BLOCKS = 1024, 32
WIRE_S = SLOTS * 40 * 10 / 115_200  # 40 bytes a record, 10 bits a byte


def _timed(work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(5):
        started = time.process_time()
        work()
        best = min(best, time.process_time() - started)
    return best


def _say(what: str, seconds: float, wire: bool = True) -> None:
    share = f", {seconds / WIRE_S:.2%} of the wire's time for the same memory" if wire else ""
    sys.stdout.write(f"{what:<36} {seconds * 1000:7.1f} ms{share}\n")


def main() -> None:
    """Measure and print."""
    block, limits = load_map("reference").block(Role.SLOTS), Limits(8, 8, SLOTS, 8, name_bytes=16)
    held = {n: Slot(n, n, 5, (frozenset({1}),) * 8, f"Berth {n}", 0, bytes(6)) for n in range(1, SLOTS + 1)}
    writer = SlotCodec(block)
    raws = {number: writer.encode(slot) for number, slot in held.items()}

    def sums(codec: SlotCodec) -> list[int]:
        return [codec.block_crc(limits, number, held) for number in range(BLOCKS)]

    def read() -> None:
        codec = SlotCodec(block)
        for number, raw in raws.items():
            codec.decode(raw, number, 8)

    _say("sums of 1024 slots, never seen", _timed(lambda: sums(SlotCodec(block))))
    _say("sums of 1024 slots, known", _timed(lambda: sums(writer)))
    _say("1024 records read", _timed(read))
    row = "{:010d},Berth {},four-button,berth-holders\n"
    text = "serial,holder,kind,group\n" + "".join(row.format(48_000_000 + 7 * n, n) for n in range(5000))
    groups = b'[groups.berth-holders]\nslip-gate = { 1 = ["gate"] }\n'
    reader = RosterFileReader(ZoneInfo("Europe/London"))
    _say("a roster of 5,000 rows checked", _timed(lambda: reader.check(text.encode(), groups, None)), wire=False)


if __name__ == "__main__":
    main()
