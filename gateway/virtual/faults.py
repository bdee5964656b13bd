"""Faults to order: what can go wrong with an answer, on the wire and with the power.

`AnswerFaults` belong to one receiver, `WireFaults` to the whole line. They only say what shall happen; the
station and the units make it happen.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

__all__ = ["AnswerFaults", "Spoiled", "WireFaults"]


@dataclass(frozen=True, slots=True)
class Spoiled:
    """An answer after its faults: what of the frame is sent, and how much later than it should be."""

    frame: bytes
    delay_s: float = 0.0


@dataclass(slots=True)
class AnswerFaults:
    """Every `..._next` counts down with the answers it strikes; 0 is off.

    `power_cut_after` so many slots of the next slot write the power goes, for `power_cut_s`; None never.
    """

    silent: bool = False
    drop_next: int = 0
    drop_every: int = 0
    cut_at: int = 0
    cut_next: int = 0
    late_s: float = 0.0
    late_next: int = 0
    exception_code: int = 0
    exception_next: int = 0
    slow_write_s: float = 0.0
    slow_write_next: int = 0
    power_cut_after: int | None = None
    power_cut_s: float = 1.0
    _answers: int = 0

    def spoil(self, frame: bytes) -> Spoiled | None:
        """What becomes of an answer; None when nothing of it is sent."""
        self._answers += 1
        if self.silent:
            return None
        if self.drop_every and self._answers % self.drop_every == 0:
            return None
        if self.drop_next:
            self.drop_next -= 1
            return None
        delay_s = 0.0
        if self.cut_next:
            self.cut_next -= 1
            frame = frame[: self.cut_at]
        if self.late_next:
            self.late_next -= 1
            delay_s = self.late_s
        return Spoiled(frame, delay_s)

    def take_exception(self) -> int:
        """The exception code to answer this request with; 0 to serve it."""
        if not self.exception_next:
            return 0
        self.exception_next -= 1
        return self.exception_code

    def take_slow_write(self) -> float:
        """How long this write to the memory takes, seconds."""
        if not self.slow_write_next:
            return 0.0
        self.slow_write_next -= 1
        return self.slow_write_s


@dataclass(slots=True)
class WireFaults:
    """`noise` is the chance that a byte is damaged, each way. `echo` sends back what is received."""

    seed: int = 1
    noise: float = 0.0
    echo: bool = False
    damaged_bytes: int = 0
    _random: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)  # noqa: S311 - noise must be repeatable, not secret

    def damage(self, data: bytes) -> bytes:
        """The bytes with noise, one bit of each byte that is struck turned over."""
        if not self.noise:
            return data
        damaged = bytearray(data)
        for place in range(len(damaged)):
            if self._random.random() < self.noise:
                damaged[place] ^= 1 << self._random.randrange(8)
                self.damaged_bytes += 1
        return bytes(damaged)
