"""Unlocking a receiver, and changing its link password with proof.

A change is proven by locking and unlocking with the new password. Until then the old one is kept too: after
a cut the new one, then the old one is tried, once each; when both are wrong the state is `password-refused`.
"""

from __future__ import annotations

import asyncio
import contextlib

from gateway.domain.urgency import Urgency
from gateway.errors import NotProven, ReceiverException, ReceiverRefused, StoreUnavailable
from gateway.maps import Role
from gateway.modbus import ExceptionCode
from gateway.receivers.asking import Asking
from gateway.receivers.blocks import write_request
from gateway.receivers.password import Keyring, check_password
from gateway.receivers.refusals import password_missing, password_refused, refusal
from gateway.receivers.values import flag_of

__all__ = ["Unlocking"]

FRESH_S = 2.0  # how old a status may be for its lock to be believed; our choice
WAITS_S = (1.0, 2.0)  # after `password-wait`, on top of the line's own waits; enough after one or two wrong tries
PAUSE_S = 10.0  # a receiver that waits for longer is left alone, so that its status goes on being read; our choice


class Unlocking:
    """The lock of one receiver. One task at a time works on it; the others wait for what it finds."""

    def __init__(self, asking: Asking, keyring: Keyring) -> None:
        self._asking = asking
        self._keyring = keyring
        self._turn = asyncio.Lock()
        self._unlocked_at_s = self._paused_until_s = float("-inf")
        self.times = 0

    @property
    def possible(self) -> bool:
        """Whether the map has a lock at all."""
        return self._asking.map.has(Role.UNLOCK)

    async def unlock_early(self, urgency: Urgency) -> None:
        """Unlock before a request when a fresh status says that it would be refused."""
        seen = self._asking.lock_seen
        if not self.possible or seen is None or not seen.password_set or seen.unlocked_s != 0:
            return
        if self._unlocked_at_s >= seen.at_s or self._asking.clock.monotonic() - seen.at_s > FRESH_S:
            return
        await self.unlock(urgency, self.times)

    async def unlock(self, urgency: Urgency, times: int) -> None:
        """Unlock, unless somebody has since `times` was looked at. Raises ReceiverRefused."""
        async with self._turn:
            if self.times != times:
                return
            if self._asking.clock.monotonic() < self._paused_until_s:
                raise refusal(self._asking.name, "password-wait")
            await self._try_all(urgency)

    async def change(self, new: str) -> None:
        """Put `new` in force ("" switches the password off).

        Raises NotProven when the old one still is, StoreUnavailable when the new one can't be kept; nothing was then
        written.
        """
        block = self._asking.map.block(Role.PASSWORD)
        check_password(block, new)
        async with self._turn:
            values = await self._asking.read_status(Urgency.CONTROL)
            old = await self._try_all(Urgency.CONTROL) if flag_of(values, "password_set") else ""
            await self._keyring.keep(new, old)
            self._keyring.doubt(new, old)
            await self._asking.ask(write_request(block, block.encode({"password": new})), block, Urgency.CONTROL)
            await self._prove(new, old)

    async def _prove(self, new: str, old: str) -> None:
        lock = self._asking.map.block(Role.LOCK)
        await self._asking.ask(write_request(lock, lock.encode({"lock": 1})), lock, Urgency.CONTROL)
        values = await self._asking.read_status(Urgency.CONTROL)
        is_set = bool(flag_of(values, "password_set"))
        if not is_set:
            self._keyring.settle("")
            found = ""
        else:
            found = await self._try_all(Urgency.CONTROL)
        if found in (new, old):
            with contextlib.suppress(StoreUnavailable):  # both are kept then, the new one first
                await self._keyring.keep(found)
        if found != new:
            kept = "the old one is still in force" if found == old else "another one is in force"
            raise NotProven(
                f"{self._asking.name} did not take the new link password; {kept}.",
                remedy="Try again; if it stays so, have the receiver's memory checked.",
            )

    async def _try_all(self, urgency: Urgency) -> str:
        """The password that unlocked. Each candidate is tried once."""
        if not self._keyring.any_known:
            raise password_missing(self._asking.name)
        for password in self._keyring.candidates(self._asking.starts_seen):
            if await self._try_one(password, urgency):
                self._keyring.settle(password)
                self._unlocked_at_s = self._asking.clock.monotonic()
                self.times += 1
                return password
            self._keyring.refused(password)
        raise password_refused(self._asking.name)

    async def _try_one(self, password: str, urgency: Urgency) -> bool:
        """False when it is wrong. A receiver that still waits after an earlier wrong one is waited for."""
        block = self._asking.map.block(Role.UNLOCK)
        request = write_request(block, block.encode({"password": password}))
        for wait_s in (*WAITS_S, None):
            try:
                await self._asking.ask(request, block, urgency)
            except ReceiverException as fault:  # a receiver that states no reasons
                if fault.exception == ExceptionCode.ILLEGAL_DATA_VALUE:
                    return False
                raise
            except ReceiverRefused as fault:
                if fault.code == "password-refused":
                    return False
                if fault.code != "password-wait":
                    raise
                if wait_s is None:
                    self._paused_until_s = self._asking.clock.monotonic() + PAUSE_S
                    raise
                await self._asking.clock.sleep(wait_s)
            else:
                return True
        raise AssertionError("the last wait returns or raises")
