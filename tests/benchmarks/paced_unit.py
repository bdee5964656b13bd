"""A Modbus unit on a pseudo-terminal that keeps the times of a real wire, as its own process.

A request is taken to have been on the wire for its length; then come 3.5 characters of silence, the turnaround,
and the answer in chunks of eight bytes, as a FIFO hands them on, each at its absolute time. Prints its device
first; when its standard input closes, prints how it was treated: requests, gaps shorter than the standard's
silence before a request (20 us tolerance), and the shortest gap.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import os
import select
import sys
import time
import tty

from gateway import modbus

FIFO_BYTES = 8
TOLERANCE_S = 20e-6
_PR_SET_TIMERSLACK = 29


def silence_s(baud: int) -> float:
    """t3.5 for ten bits a character (Modbus over Serial Line V1.02, 2.5.1.1)."""
    return 35 / baud if baud <= 19200 else 0.00175


def wait_until(moment: float) -> None:
    """Sleep to the last tenth of a millisecond, then look at the clock."""
    while (left := moment - time.monotonic()) > 0:
        if left > 1e-4:
            time.sleep(left - 1e-4)


class PacedUnit:
    """One unit that answers every address; registers keep what is written to them."""

    def __init__(self, fd: int, baud: int, turnaround_s: float) -> None:
        self._fd = fd
        self._character_s = 10 / baud
        self._silence_s = silence_s(baud)
        self._turnaround_s = turnaround_s
        self._framer = modbus.RequestFramer()
        self._registers = bytearray(2 * 65536)
        self._free_at = 0.0
        self.requests = 0
        self.gaps: list[float] = []

    def serve(self) -> None:
        """One request, if it is whole."""
        heard = os.read(self._fd, 4096)
        at = time.monotonic()
        if self.requests:
            self.gaps.append(at - self._free_at)
        sent_s = len(heard) * self._character_s
        for address, pdu in self._framer.feed(heard):
            self.requests += 1
            answer = modbus.frame(address, self._answer(pdu))
            self._release(answer, at + sent_s + self._silence_s + self._turnaround_s)

    def _answer(self, pdu: bytes) -> bytes:
        request = modbus.decode_request(pdu)
        if isinstance(request, modbus.RegistersRead):
            data = self._registers[2 * request.address : 2 * (request.address + request.count)]
            return modbus.encode_answer(modbus.RegistersAnswer(request.function, bytes(data)))
        if isinstance(request, modbus.WriteRegisters):
            self._registers[2 * request.address : 2 * request.address + len(request.data)] = request.data
            return modbus.encode_answer(modbus.WriteManyAnswer(16, request.address, request.count))
        return modbus.encode_answer(modbus.ExceptionAnswer(request.function, 1))

    def _release(self, answer: bytes, begin: float) -> None:
        for start in range(0, len(answer), FIFO_BYTES):
            piece = answer[start : start + FIFO_BYTES]
            wait_until(begin + (start + len(piece)) * self._character_s)
            self._free_at = time.monotonic()
            os.write(self._fd, piece)

    def report(self) -> str:
        """How it was treated, as JSON."""
        short = sum(gap < self._silence_s - TOLERANCE_S for gap in self.gaps)
        return json.dumps({"requests": self.requests, "short": short, "least": min(self.gaps, default=0.0)})


def main() -> None:
    """Serve until standard input closes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--baud", type=int, default=115200)
    parser.add_argument("--turnaround", type=float, default=0.001)
    options = parser.parse_args()
    ctypes.CDLL(None).prctl(_PR_SET_TIMERSLACK, 1, 0, 0, 0)
    master, slave = os.openpty()
    tty.setraw(slave)
    print(os.ttyname(slave), flush=True)
    unit = PacedUnit(master, options.baud, options.turnaround)
    while True:
        ready, _, _ = select.select([master, sys.stdin], [], [])
        if sys.stdin in ready:
            break
        unit.serve()
    print(unit.report(), flush=True)


if __name__ == "__main__":
    main()
