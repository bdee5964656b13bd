"""Restoring a snapshot into its own receiver, into its replacement, or into another one.

It decides what the receiver is to hold (`fitting`) and tells what a person has to do and to know first; the plan, its
guard, its writing and its proof are those of every plan (`ports.RestoreRuns`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from gateway.archive.comparing import settings_words
from gateway.archive.fitting import aim_at
from gateway.archive.looking import look_at
from gateway.archive.words import limits_words, modes_words, taught_words
from gateway.domain.live import LinkState
from gateway.domain.mirror import Mirror
from gateway.domain.plan import CLONE, RESTORE, Plan, SettingsTarget
from gateway.domain.receiver import ReceiverSettings
from gateway.domain.snapshot import Snapshot
from gateway.domain.urgency import Urgency
from gateway.errors import NotFound, Refused, Unsupported
from gateway.ports import (
    Aim,
    LiveView,
    MirrorKeeper,
    Receiver,
    ReceiverFacts,
    RestoreOrder,
    RestorePreview,
    RestoreRuns,
    Snapshots,
)

__all__ = ["RestoreDesk"]


class RestoreDesk:
    """`ports.RestoreDesk`."""

    def __init__(
        self,
        *,
        snapshots: Snapshots,
        receivers: Mapping[str, Receiver],
        facts: Mapping[str, ReceiverFacts],
        keeper: MirrorKeeper,
        live: LiveView,
        runs: RestoreRuns,
    ) -> None:
        self._snapshots = snapshots
        self._receivers = receivers
        self._facts = facts
        self._keeper = keeper
        self._live = live
        self._runs = runs

    async def preview(self, order: RestoreOrder) -> RestorePreview:
        """See `ports.RestoreDesk`. A receiver that nobody has confirmed is read for the eye alone."""
        driver, snapshot = self._driver(order), await self._read(order)
        self._check_by_hand(order)
        mirror, unconfirmed = await self._present(driver, order)
        plan = self._runs.draft(mirror, self._aim(driver, snapshot, order), reason=_reason(order))
        names = self._facts[order.receiver].outputs
        status = self._live.receiver(order.receiver).status
        return RestorePreview(
            plan=plan,
            board=(
                *modes_words(
                    snapshot.output_modes, status.output_modes if status else None, mirror.limits.outputs, names
                ),
                *(taught_words(snapshot, mirror.limits.outputs, names) if self._is_by_hand(order.receiver) else ()),
            ),
            notes=_notes(snapshot, mirror),
            settings=settings_words(mirror.settings, _as_wanted(mirror.settings, plan.settings), names),
            answers=mirror.identity,
            taken_from=snapshot.identity,
            unconfirmed=unconfirmed,
        )

    async def start(self, order: RestoreOrder, *, asked_by: str) -> Plan:
        """See `ports.RestoreDesk`."""
        driver, snapshot = self._driver(order), await self._read(order)
        self._check_by_hand(order)

        async def admit() -> None:
            if order.replacement is not None:
                await self._admit(driver, order.replacement)

        return await self._runs.start(
            order.receiver,
            self._aim(driver, snapshot, order),
            reason=_reason(order),
            snapshot=snapshot.id,
            asked_by=asked_by,
            before=admit,
        )

    # --- who answers ---

    async def _present(self, driver: Receiver, order: RestoreOrder) -> tuple[Mirror, bool]:
        try:
            return await self._keeper.refresh(order.receiver, urgency=Urgency.BULK), False
        except Refused as refusal:
            if refusal.code != "receiver-unconfirmed" or order.replacement is None:
                raise
        return await look_at(driver), True

    async def _admit(self, driver: Receiver, serial: str) -> None:
        """Take the receiver that answers for the right one if it states the serial that was meant."""
        identity, _ = await driver.identify()
        if identity.serial != serial:
            raise Refused(
                f"The receiver {identity.serial or 'without a serial'} answers as {driver.name}, not {serial}.",
                remedy="Look at the preview again, and say which one is meant.",
                code="identity-differs",
            )
        try:
            await self._keeper.refresh(driver.name, urgency=Urgency.CONTROL)
        except Refused as refusal:
            if refusal.code != "receiver-unconfirmed":
                raise
            await self._keeper.confirm(driver.name)

    def _is_by_hand(self, receiver: str) -> bool:
        return self._live.receiver(receiver).link is LinkState.BY_HAND

    def _check_by_hand(self, order: RestoreOrder) -> None:
        """Nobody answers where no line reaches, so nobody can see that another receiver stands there."""
        if order.replacement is not None and self._is_by_hand(order.receiver):
            raise Unsupported(
                f"No line reaches {order.receiver}, so what stands there now can't be asked who it is.",
                remedy=f"Say that the new one is empty (gatepost visit-sheet holds {order.receiver} --empty), then "
                "restore without --replacement: what the snapshot holds comes onto the visit sheet.",
            )

    # --- what is wanted ---

    def _aim(self, driver: Receiver, snapshot: Snapshot, order: RestoreOrder) -> Aim:
        names = self._facts[order.receiver].outputs
        return aim_at(snapshot, order.way, settings=order.settings, fit_name=driver.fit_name, names=names)

    async def _read(self, order: RestoreOrder) -> Snapshot:
        snapshot = await self._snapshots.read(order.snapshot)
        if order.way == "restore" and snapshot.receiver != order.receiver:
            raise Refused(
                f"The snapshot {snapshot.id} is of {snapshot.receiver}, not of {order.receiver}.",
                remedy="Say whether it replaces what is there or is merged into it: --as replace or --as merge.",
                code="snapshot-of-another",
            )
        return snapshot

    def _driver(self, order: RestoreOrder) -> Receiver:
        if order.receiver not in self._receivers:
            known = ", ".join(self._receivers) or "none"
            raise NotFound(f"There is no receiver {order.receiver}.", remedy=f"The settings name: {known}.")
        return self._receivers[order.receiver]


def _reason(order: RestoreOrder) -> str:
    return RESTORE if order.way == "restore" else CLONE


def _notes(snapshot: Snapshot, mirror: Mirror) -> tuple[str, ...]:
    notes = list(limits_words(snapshot.limits, mirror.limits, "The receiver of the snapshot", mirror.receiver))
    if mirror.identity.serial and snapshot.identity.serial != mirror.identity.serial:
        notes.append(
            f"The snapshot is of the receiver {snapshot.identity.serial}; {mirror.identity.serial} answers now."
        )
    if snapshot.settings is not None and snapshot.settings.password_set and mirror.settings is not None:
        notes.append(
            "The receiver of the snapshot had a link password. It is in no snapshot: set it by hand afterwards."
        )
    return tuple(notes)


def _as_wanted(now: ReceiverSettings | None, wanted: SettingsTarget | None) -> ReceiverSettings | None:
    if now is None or wanted is None:
        return now
    on_times = tuple(wanted.on_times_s.get(number, seconds) for number, seconds in enumerate(now.on_times_s, 1))
    allowed = now.local_programming if wanted.local_programming is None else wanted.local_programming
    return replace(now, on_times_s=on_times, local_programming=allowed)
