"""A virtual receiver as a process of its own, for tests that talk to it from outside.

The runner below is all that the command adds: options in, `run_virtual` until it ends.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

__all__ = ["RUNNER", "VirtualProcess", "virtual_process"]

RUNNER = """
import asyncio, sys
from pathlib import Path
from gateway.errors import GatepostError
from gateway.virtual import VirtualOptions, run_virtual
try:
    asyncio.run(run_virtual(eval(sys.argv[1]), say=lambda line: print(line, flush=True)))
except GatepostError as error:
    sys.exit(str(error))
"""
_DEADLINE_S = 15.0


@dataclass
class VirtualProcess:
    """`port` is its link. `tell` runs a command line and gives the answer."""

    port: Path
    process: subprocess.Popen[str]
    stdin: IO[str]
    stdout: IO[str]

    def tell(self, line: str) -> str:
        self.stdin.write(line + "\n")
        self.stdin.flush()
        return self.stdout.readline().rstrip("\n")

    def wait_for_link(self) -> None:
        """Return when the link is there; AssertionError when it never is."""
        deadline = time.monotonic() + _DEADLINE_S
        while not self.port.exists():
            assert self.process.poll() is None, "the process ended at once"
            assert time.monotonic() < deadline, "no link was made"
            time.sleep(0.01)


@contextmanager
def virtual_process(port: Path, **options: object) -> Iterator[VirtualProcess]:
    """Run one with these `VirtualOptions` until the body ends."""
    named = {"link": port, **options}
    parts = [f"{name}={_source(value)}" for name, value in named.items()]
    command = [sys.executable, "-c", RUNNER, f"VirtualOptions({', '.join(parts)})"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        running = VirtualProcess(port, process, process.stdin, process.stdout)
        try:
            running.wait_for_link()
            yield running
        finally:
            process.terminate()
            process.wait(_DEADLINE_S)


def _source(value: object) -> str:
    return f"Path({str(value)!r})" if isinstance(value, Path) else repr(value)
