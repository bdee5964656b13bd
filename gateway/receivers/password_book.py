"""Where a receiver's link password comes from: the settings' file, and what the gateway itself keeps since a change.

After a change through the gateway the kept one comes first, and the settings' one stays as a last try. Once the
settings' file holds something else than at the change, somebody has looked after it since, and it comes first again.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable

from gateway.errors import SettingsFault
from gateway.ports import KeptPasswords, PasswordMemory

__all__ = ["PasswordBook"]


class PasswordBook:
    """A `PasswordSupplier`. `read` is the settings' password now, "" for none; it may raise SettingsFault."""

    def __init__(self, read: Callable[[], str], memory: PasswordMemory) -> None:
        self._read = read
        self._memory = memory
        self._given = read()

    def __call__(self) -> tuple[str, ...]:
        """Likeliest first."""
        given, kept = self._look()
        if kept is None:
            return (given,)
        order = (*kept.candidates, given) if kept.given == given else (given, *kept.candidates)
        return tuple(dict.fromkeys(order))

    @property
    def settings_are_behind(self) -> bool:
        """Whether the settings' file still has another password than the one that the gateway has set."""
        given, kept = self._look()
        return kept is not None and kept.given == given and kept.candidates[:1] != (given,)

    async def keep(self, *candidates: str) -> None:
        """Remember what may be in force, likeliest first. Raises StoreUnavailable."""
        await asyncio.to_thread(self._memory.keep, KeptPasswords(self._given, candidates))

    def _look(self) -> tuple[str, KeptPasswords | None]:
        """The settings' password and what is kept. A settings' file that can't be read counts with what it had last."""
        with contextlib.suppress(SettingsFault):
            self._given = self._read()
        return self._given, self._memory.load()
