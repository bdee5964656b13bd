"""The link password's lock: unlocked for a while, and waits after wrong tries.

Belongs to one start of the receiver: a restart locks again and forgets the waits. Times are monotonic seconds
given by the caller. Rules and figures: docs/register-map.md, "Link password rules" (60 s and the waits are our choice).
"""

from __future__ import annotations

import hmac
import math

from gateway.modbus import ExceptionCode
from gateway.virtual.memory import Memory
from gateway.virtual.refusals import Refusal

__all__ = ["LONGEST_WAIT_S", "UNLOCKED_S", "Lock"]

UNLOCKED_S = 60.0
LONGEST_WAIT_S = 60.0


class Lock:
    """Whether requests that need the password are answered."""

    def __init__(self, memory: Memory) -> None:
        self._memory = memory
        self._unlocked_until = -math.inf
        self._wait_s = 0.0
        self._wait_until = -math.inf

    def is_locked(self, now: float) -> bool:
        """True while a password is set and nobody has unlocked."""
        return bool(self._memory.password) and now >= self._unlocked_until

    def left_s(self, now: float) -> int:
        """Whole seconds left unlocked, rounded up; 0 when locked and when no password is set."""
        return 0 if not self._memory.password or self.is_locked(now) else math.ceil(self._unlocked_until - now)

    def unlock(self, offered: bytes, now: float) -> None:
        """Try a password. Raises Refusal when it is wrong or comes too soon after a wrong one."""
        if not self._memory.password:
            return
        if now < self._wait_until:
            raise Refusal("password-wait", ExceptionCode.DEVICE_BUSY)
        if not hmac.compare_digest(offered, self._memory.password):
            self._wait_s = min(max(1.0, 2 * self._wait_s), LONGEST_WAIT_S)
            self._wait_until = now + self._wait_s
            raise Refusal("password-wrong", ExceptionCode.ILLEGAL_DATA_VALUE)
        self._wait_s = 0.0
        self.open(now)

    def open(self, now: float) -> None:
        """Unlocked from now on for the full time: a password was right, or has just been set."""
        self._unlocked_until = now + UNLOCKED_S

    def renew(self, now: float) -> None:
        """A configuration request came: the time starts again, if it is still running."""
        if now < self._unlocked_until:
            self.open(now)

    def close(self) -> None:
        """Locked from now on."""
        self._unlocked_until = -math.inf
