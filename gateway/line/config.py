"""What a line is told about its port. Plain values: the settings file is read elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["LineConfig"]


@dataclass(frozen=True, slots=True)
class LineConfig:
    """One serial port.

    `port` is the path to open, best a link under /dev/serial/by-id; it is followed anew at each opening and
    no other port is ever tried. `rs485`: `adapter` switches direction by itself, `kernel` lets the driver do
    it. `echo` says that the adapter hears its own sending. `tries` counts sendings of one request.
    `poll_wait_budget_s` is how long a poll may wait behind one bulk frame (0.05 s is our choice).
    """

    name: str
    port: str
    baud: int = 19200
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    rs485: Literal["off", "adapter", "kernel"] = "off"
    echo: bool = False
    tries: int = 3
    poll_wait_budget_s: float = 0.050

    def __post_init__(self) -> None:
        if self.tries < 1:
            raise ValueError(f"tries = {self.tries}: write 1 or more")
        if self.baud < 1:
            raise ValueError(f"baud = {self.baud}: write the receiver's baud rate, for example 19200")
