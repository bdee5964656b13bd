"""What the master needs of a port: the Protocol behind which the real one and the tests' ones stand."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Protocol

from gateway.line.config import LineConfig

__all__ = ["Wire", "WireListener", "WireOpener"]


class WireListener(Protocol):
    """Who is told what comes in. Called in the event loop; must not block."""

    def received(self, data: bytes) -> None:
        """Bytes came, as many as were there."""

    def lost(self, reason: str) -> None:
        """The port is gone; nothing comes after this. Not called after `Wire.close`."""


class Wire(Protocol):
    """An open port."""

    device: str
    """The device behind the configured path, for people."""

    paced: bool
    """True when bytes take their time on a real wire; a pseudo-terminal passes them on at once."""

    def send(self, data: bytes) -> None:
        """Hand over a whole frame; it is on the wire only when its wire time has passed.

        A port that can't take it is lost: the listener hears of it, nothing is raised and nothing is kept.
        """

    def expect(self, count: int) -> None:
        """The next `count` bytes are wanted together: the listener need not be told before they are there.

        A port may tell it earlier, and does at 255. 1 is the state to be in when nothing is expected.
        """

    def read_now(self) -> None:
        """Tell the listener at once what is there, however little."""

    async def close(self) -> None:
        """Give the port back. May be called after a loss, and twice."""


WireOpener = Callable[[LineConfig, WireListener], Awaitable[Wire]]
"""Opens the port of a line; raises PortUnavailable."""
