"""Whose turn it is to write to a receiver's slots.

One write frame at a time: a roster's plan takes the turn for each of its frames, a revocation for its one. Whoever
takes it looks first whether a revocation was made since its targets were decided (`stamp`): such targets may hold the
very serial that was revoked, and are never written.
"""

from __future__ import annotations

import asyncio

__all__ = ["Turn", "Turns"]


class Turn:
    """One receiver's turn. `lock` is fair: who waits longest is next."""

    def __init__(self) -> None:
        self.lock = asyncio.Lock()
        self.stamp = 0


class Turns:
    """The turns of all receivers, by name."""

    def __init__(self) -> None:
        self._turns: dict[str, Turn] = {}

    def of(self, receiver: str) -> Turn:
        return self._turns.setdefault(receiver, Turn())

    def stamp_all(self) -> None:
        """From now on no target that was decided before is written."""
        for turn in self._turns.values():
            turn.stamp += 1
