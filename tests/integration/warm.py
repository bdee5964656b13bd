"""`python -m gateway`, begun from a process that has loaded everything already.

A command that is begun from nothing spends half a second on loading, ten times what its work takes. Here each is
forked, by the standard library's fork server, from one process that has loaded the modules and run nothing; the
child then runs the package as `__main__`, with arguments, environment, files and session of its own. So it is a
process like any other: it is seen, signalled, killed and ends with the exit code that a shell would see.
"""

from __future__ import annotations

import io
import multiprocessing
import os
import runpy
import signal
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from multiprocessing.connection import wait
from pathlib import Path

__all__ = ["WarmProcess"]

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(["tests.integration.warm_modules"])
#: The library looks after all its children whenever it starts one, and can't do so in two threads at once.
_LIBRARY = threading.Lock()
_LOOK_EVERY_S = 0.2


class WarmProcess:
    """One process; the part of `subprocess.Popen` that tests need.

    `out` and `err` are files that it appends to; they may be the same. Raises subprocess.TimeoutExpired as Popen does.
    """

    def __init__(self, arguments: Sequence[str], environment: Mapping[str, str], out: Path, err: Path) -> None:
        self.arguments = tuple(arguments)
        self.returncode: int | None = None
        for place in (out, err):
            place.touch()
        self._process = _CONTEXT.Process(
            target=_become_gateway, args=(self.arguments, dict(environment), os.getcwd(), str(out), str(err))
        )
        with _LIBRARY:
            self._process.start()
        assert self._process.pid is not None
        self.pid = self._process.pid

    def poll(self) -> int | None:
        """The exit code, minus a signal's number when that ended it; None while it runs."""
        if self.returncode is None:
            with _LIBRARY:
                self.returncode = self._process.exitcode
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for its end, `timeout` seconds at most; its exit code."""
        if self.returncode is None:
            wait([self._process.sentinel], timeout)
        code = self.poll()
        if code is None:
            assert timeout is not None
            raise subprocess.TimeoutExpired(self.arguments, timeout)
        return code

    def send_signal(self, number: int) -> None:
        """Signal it, unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def terminate(self) -> None:
        """SIGTERM."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """SIGKILL."""
        self.send_signal(signal.SIGKILL)


def _become_gateway(arguments: Sequence[str], environment: Mapping[str, str], folder: str, out: str, err: str) -> None:
    """In the child: everything as a shell would have set it up, then the package's own `__main__`."""
    os.setsid()
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    _take(os.open(os.devnull, os.O_RDONLY), 0)
    for place, number in ((out, 1), (err, 2)):
        _take(os.open(place, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644), number)
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115 - they last as long as the process
    sys.stdout = io.TextIOWrapper(io.FileIO(1, "w", closefd=False), "utf-8", write_through=True)
    sys.stderr = io.TextIOWrapper(io.FileIO(2, "w", closefd=False), "utf-8", "backslashreplace", write_through=True)
    sys.argv = ["gateway", *arguments]
    runpy.run_module("gateway", run_name="__main__", alter_sys=True)


def _take(opened: int, number: int) -> None:
    os.dup2(opened, number)
    os.close(opened)
