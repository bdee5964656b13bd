"""Who else has a serial port open: named, so that a person knows which program to stop.

Two sources, both of Linux (proc(5)): /proc/locks shows every flock with its holder and file; /proc/PID/fd shows
what a process has open, for one's own processes or as root. Neither is complete; an empty list proves nothing.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Holder", "port_holders"]


@dataclass(frozen=True, slots=True)
class Holder:
    """A process that has the port open. `name` is empty when it can't be read."""

    pid: int
    name: str

    def __str__(self) -> str:
        return f"{self.name} (process {self.pid})" if self.name else f"process {self.pid}"


def port_holders(device: str, *, proc: Path = Path("/proc"), own_pid: int | None = None) -> tuple[Holder, ...]:
    """The processes that lock `device`; if none does, those that have it open, without this one."""
    own_pid = os.getpid() if own_pid is None else own_pid
    try:
        status = os.stat(device)
    except OSError:
        return ()
    lockers = _lockers(proc, os.major(status.st_dev), os.minor(status.st_dev), status.st_ino)
    openers = {pid for pid in _pids(proc) if pid != own_pid and _has_open(proc, pid, device)}
    return tuple(Holder(pid, _name(proc, pid)) for pid in sorted(lockers or openers))


def _pids(proc: Path) -> list[int]:
    return [int(name) for name in os.listdir(proc) if name.isdigit()]


def _has_open(proc: Path, pid: int, device: str) -> bool:
    folder = proc / str(pid) / "fd"
    try:
        return any(_points_to(folder / name, device) for name in os.listdir(folder))
    except OSError:
        return False


def _points_to(link: Path, device: str) -> bool:
    try:
        return os.readlink(link) == device
    except OSError:
        return False


def _lockers(proc: Path, major: int, minor: int, inode: int) -> set[int]:
    """Lines are `1: FLOCK  ADVISORY  WRITE 1234 00:18:5 0 EOF`; the device is in hexadecimal."""
    try:
        lines = (proc / "locks").read_text(encoding="ascii").splitlines()
    except OSError:
        return set()
    wanted = f"{major:02x}:{minor:02x}:{inode}"
    fields = (line.split() for line in lines)
    return {int(f[4]) for f in fields if len(f) > 5 and f[1] == "FLOCK" and f[5] == wanted and int(f[4]) > 0}


def _name(proc: Path, pid: int) -> str:
    try:
        return (proc / str(pid) / "comm").read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""
