"""How long bytes take on the wire, and how long the wire must be silent between frames.

Source: Modbus over Serial Line V1.02, section 2.5.1.1: t3.5 is 3.5 characters up to 19200 Bd and 1.750 ms
above. The standard's character has 11 bits; one without parity and with one stop bit has 10 (common practice),
and the times here follow the format that the line really has.
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.line.config import LineConfig

__all__ = ["Timing", "registers_per_frame"]

FIXED_SILENCE_S = 0.001750  # t3.5 above 19200 Bd
_READ_BYTES = 8 + 5  # a read request's frame, and the answer's bytes that are no data
_TURNAROUND_S = 0.001  # how long a unit takes to begin its answer; typical, as measured with the pacing slave
_LARGEST = 125  # registers in one read (V1.1b3, section 6.3)
_LARGEST_PDU = 253


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of one line format, in seconds."""

    character_s: float
    silence_s: float  # t3.5

    @classmethod
    def of(cls, config: LineConfig) -> Timing:
        """The times for `config`'s baud rate, parity and stop bits."""
        bits = 1 + 8 + (config.parity != "N") + config.stop_bits
        character_s = bits / config.baud
        return cls(character_s, 3.5 * character_s if config.baud <= 19200 else FIXED_SILENCE_S)

    def wire_s(self, count: int) -> float:
        """The time that `count` bytes take."""
        return count * self.character_s


def registers_per_frame(timing: Timing, budget_s: float | None, overhead_bytes: int = 0) -> int:
    """How many registers one frame should move, 1 to 125.

    With a budget the whole transaction stays within it: request, answer, both silences and a turnaround of
    1 ms. `overhead_bytes` counts the data bytes of a frame that are no payload (4 for a plain write).
    """
    most = min(_LARGEST, (_LARGEST_PDU - 2 - overhead_bytes) // 2)
    if budget_s is None:
        return max(1, most)
    left_s = budget_s - 2 * timing.silence_s - _TURNAROUND_S
    payload = int(left_s / timing.character_s) - _READ_BYTES - overhead_bytes
    return max(1, min(most, payload // 2))
