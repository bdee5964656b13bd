"""The adapter: a pseudo-terminal behind a symbolic link, that can be pulled out and put back.

Our side is the pseudo-terminal's master; its other side, the one that the link leads to, is kept open here too, so
that a program that closes the port does not look like a pulled adapter. While paced, bytes sent at another
speed than the receiver's are lost, as they would be on a wire. Linux alone: the speed is read through the master.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import termios
import tty
from collections.abc import Callable
from pathlib import Path

from gateway.errors import SettingsFault

__all__ = ["PtyWire"]

_READ_BYTES = 4096


class PtyWire:
    """`received` is called with what came in; `lost` with an exception that it raised.

    `speed` makes bytes sent at another baud rate unreadable; None takes all.
    """

    def __init__(
        self,
        link: Path,
        received: Callable[[bytes], None],
        *,
        speed: int | None,
        broken: Callable[[BaseException], None],
    ) -> None:
        self._link = link
        self._received = received
        self._speed_code = getattr(termios, f"B{speed}", None) if speed else None
        self._broken = broken
        self._master = self._slave = -1
        self.device = ""
        self.wrong_speed_bytes = 0
        self.unread_bytes = 0

    @property
    def is_open(self) -> bool:
        """Whether the adapter is there."""
        return self._master >= 0

    def open(self) -> None:
        """Put the adapter in: a new terminal, the link moved to it. Raises SettingsFault when there can be no link."""
        if self.is_open:
            return
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        if self._speed_code is not None:
            settings = termios.tcgetattr(self._slave)
            settings[4] = settings[5] = self._speed_code
            termios.tcsetattr(self._slave, termios.TCSANOW, settings)
        os.set_blocking(self._master, False)
        self.device = os.ttyname(self._slave)
        try:
            self._make_link()
        except OSError as fault:
            self._drop()
            raise SettingsFault(
                f"The link {self._link} can't be made: {fault.strerror}.",
                remedy="Choose a path in a folder that you may write to.",
            ) from fault
        asyncio.get_running_loop().add_reader(self._master, self._readable)

    def send(self, data: bytes) -> None:
        """Hand bytes to whoever has the port open; what nobody reads is dropped once the terminal is full."""
        if not self.is_open or not data:
            return
        try:
            self.unread_bytes += len(data) - os.write(self._master, data)
        except BlockingIOError:
            self.unread_bytes += len(data)

    def close(self) -> None:
        """Pull the adapter out and take the link away, if it is still ours. May be called twice."""
        if not self.is_open:
            return
        asyncio.get_running_loop().remove_reader(self._master)
        with contextlib.suppress(OSError):
            if os.readlink(self._link) == self.device:
                self._link.unlink()
        self._drop()

    def _drop(self) -> None:
        os.close(self._master)
        os.close(self._slave)
        self._master = self._slave = -1

    def _make_link(self) -> None:
        if self._link.exists() and not self._link.is_symlink():
            raise SettingsFault(
                f"{self._link} is there already and is no link.", remedy="Choose another path for the link."
            )
        beside = self._link.with_name(f".{self._link.name}.{os.getpid()}")
        beside.unlink(missing_ok=True)
        beside.symlink_to(self.device)
        beside.replace(self._link)

    def _readable(self) -> None:
        try:
            data = os.read(self._master, _READ_BYTES)
        except BlockingIOError:
            return
        try:
            if self._right_speed():
                self._received(data)
            else:
                self.wrong_speed_bytes += len(data)
        except Exception as fault:
            self._broken(fault)

    def _right_speed(self) -> bool:
        if self._speed_code is None:
            return True
        return bool(termios.tcgetattr(self._master)[5] == self._speed_code)
