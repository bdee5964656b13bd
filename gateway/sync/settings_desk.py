"""A receiver's settings, changed with before, after and read-back.

Everything asked for is checked against the receiver's own limits before anything is written (a limit is never a
constant in code). What differs afterwards is journaled by the mirror's refresh, with before and after, as for changes
from any other hand. The link password is write-only: its event says that it was changed, never what it is.
"""

from __future__ import annotations

import asyncio
from collections import defaultdict
from collections.abc import Callable, Mapping

from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability, Limits, Origin, ReceiverSettings
from gateway.domain.urgency import Urgency
from gateway.errors import NotProven, Refused, Unsupported
from gateway.ports import Commit, Journal, MirrorKeeper, Mirrors, Receiver
from gateway.sync.site import Site

__all__ = ["PASSWORD_LENGTH", "SettingsDesk"]

PASSWORD_LENGTH = 8
"""Characters of a link password at most (common practice, no source)."""


class SettingsDesk:
    """`ports.SettingsDesk`."""

    def __init__(self, *, site: Site, journal: Journal, mirrors: Mirrors, keeper: MirrorKeeper) -> None:
        self._site = site
        self._journal = journal
        self._mirrors = mirrors
        self._keeper = keeper
        #: Two changes at once would each read back what the other has written.
        self._turns: defaultdict[str, asyncio.Lock] = defaultdict(asyncio.Lock)

    async def read(self, receiver: str) -> ReceiverSettings:
        """The settings as they are now. Raises NotFound, Unsupported, LineError, PeerError."""
        return await self._with_settings(receiver).read_settings()

    async def change(
        self,
        receiver: str,
        *,
        on_times_s: Mapping[int, int] | None = None,
        local_programming: bool | None = None,
        password: str | None = None,
        asked_by: str,
        basis: Callable[[ReceiverSettings], None] | None = None,
    ) -> tuple[ReceiverSettings, ReceiverSettings]:
        """Write what differs and read everything back; before and after. `basis` may refuse what stands then.

        Raises Refused with `on-time-out-of-range`, `no-such-output`, `password-unfit` or `nothing-asked` before
        anything is written; `receiver-unconfirmed`; Unsupported; NotProven; LineError.
        """
        driver = self._with_settings(receiver)
        if on_times_s is None and local_programming is None and password is None:
            raise Refused("Nothing was asked for.", remedy="Name at least one setting.", code="nothing-asked")
        if password is not None:
            _check_password(driver, password)
        _check_on_times(receiver, await self._limits(receiver, driver), on_times_s or {})
        async with self._turns[receiver]:
            before = await driver.read_settings()
            if basis is not None:
                basis(before)
            after = await self._write(driver, before, on_times_s or {}, local_programming, password)
            _check_after(receiver, after, on_times_s or {}, local_programming, password)
        if password and before.password_set and after.password_set:
            data = {"password": "changed", "origin": Origin.LINE.value, "asked_by": asked_by}
            await self._journal.commit(Commit(events=(EventDraft(EventName.SETTINGS_CHANGED, receiver, data),)))
        await self._keeper.refresh(receiver, urgency=Urgency.CONTROL)
        return before, after

    async def _write(
        self,
        driver: Receiver,
        before: ReceiverSettings,
        on_times_s: Mapping[int, int],
        local_programming: bool | None,
        password: str | None,
    ) -> ReceiverSettings:
        for output, seconds in sorted(on_times_s.items()):
            if before.on_times_s[output - 1] != seconds:
                await driver.write_on_time(output, seconds)
        if local_programming is not None and local_programming != before.local_programming:
            await driver.write_local_programming(local_programming)
        if password is not None:
            await driver.write_password(password)
        return await driver.read_settings()

    async def _limits(self, name: str, driver: Receiver) -> Limits:
        mirror: Mirror | None = self._mirrors.load(name)
        if mirror is not None and not mirror.confirmed:
            raise Refused(
                f"Another receiver than before answers as {name}; nothing is written to it.",
                remedy="Confirm that the receiver was replaced on purpose, or put the right one back.",
                code="receiver-unconfirmed",
            )
        return mirror.limits if mirror is not None else (await driver.identify())[1]

    def _with_settings(self, name: str) -> Receiver:
        driver = self._site.receiver(name)
        if Capability.SETTINGS not in driver.capabilities:
            raise Unsupported(f"{name} has no settings that can be reached.", remedy="Its map has none.")
        return driver


def _check_on_times(name: str, limits: Limits, on_times_s: Mapping[int, int]) -> None:
    for output, seconds in on_times_s.items():
        if not 1 <= output <= limits.outputs:
            raise Refused(
                f"{name} has no output {output}.",
                remedy=f"Its outputs are numbered from 1 to {limits.outputs}.",
                code="no-such-output",
            )
        if not limits.on_time_min_s <= seconds <= limits.on_time_max_s:
            raise Refused(
                f"{seconds} s is no on-time for output {output} of {name}.",
                remedy=f"This receiver takes {limits.on_time_min_s} to {limits.on_time_max_s} s.",
                code="on-time-out-of-range",
            )


def _check_password(driver: Receiver, password: str) -> None:
    if Capability.PASSWORD not in driver.capabilities:
        raise Unsupported(f"{driver.name} has no link password.", remedy="Its map has none.")
    if len(password) > PASSWORD_LENGTH:
        fault = f"has {len(password)} characters, and a receiver keeps {PASSWORD_LENGTH}"
    elif not all(33 <= ord(letter) <= 126 for letter in password):
        fault = "has a blank, an accent or a sign that a receiver can't keep"
    else:
        return
    raise Refused(
        f"The link password {fault}.",
        remedy=f"Use up to {PASSWORD_LENGTH} letters without accents, digits or signs; empty switches it off.",
        code="password-unfit",
    )


def _check_after(
    name: str,
    after: ReceiverSettings,
    on_times_s: Mapping[int, int],
    local_programming: bool | None,
    password: str | None,
) -> None:
    wrong = [f"the on-time of output {n}" for n, s in sorted(on_times_s.items()) if after.on_times_s[n - 1] != s]
    if local_programming is not None and after.local_programming != local_programming:
        wrong.append("local programming")
    if password is not None and after.password_set != bool(password):
        wrong.append("the link password")
    if wrong:
        raise NotProven(
            f"{name} acknowledged the change, and reading it back shows another value of {' and '.join(wrong)}.",
            remedy="Somebody may be changing it at the board; read the settings and try again.",
        )
