"""This serial must not work, now: into the ledger, then out of every receiver, ahead of everything else.

Rule 5 of the design. `revoke` returns when the ledger has it; `run` keeps one worker per receiver that frees the slots
with `Urgency.REVOCATION`, reads them back, proves the blocks by CRC and then the whole mirror, has a receipt signed and
journals `revocation.applied`. A receiver that can't be reached is tried again with growing pauses and at once when its
link is restored; a serial that comes back at the board is taken out again. After a restart the ledger says what is
still owed.

A plan that is being written meanwhile is stopped at its next frame (`turns`) and decides its targets anew.
"""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Mapping
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.revocation import Revocation, RevocationState
from gateway.domain.transmitter import MAX_SERIAL, write_serial
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NotFound, NotProven, Refused, StoreUnavailable
from gateway.ports import ByHand, Commit, EventFilter, Journal, Ledger, MirrorKeeper, Mirrors, Proofs, Receiver
from gateway.sync.book import Book
from gateway.sync.following import follow
from gateway.sync.patience import FIRST_PAUSE_S, next_pause
from gateway.sync.receipting import NoReceipts, Receipting
from gateway.sync.site import Site
from gateway.sync.turns import Turns

__all__ = ["Revoker"]

_WAKING = EventFilter(names=frozenset({EventName.LINK_RESTORED, EventName.SLOT_CHANGED, EventName.RECEIVER_REPLACED}))


class Revoker:
    """`ports.Revocations`. `run` must be running for anything to reach a receiver."""

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        journal: Journal,
        ledger: Ledger,
        proofs: Proofs,
        mirrors: Mirrors,
        keeper: MirrorKeeper,
        turns: Turns,
        by_hand: ByHand | None = None,
        receipts: Receipting | None = None,
    ) -> None:
        self._receipts = receipts or NoReceipts()
        self._by_hand = by_hand
        self._site = site
        self._clock = clock
        self._journal = journal
        self._ledger = ledger
        self._proofs = proofs
        self._mirrors = mirrors
        self._keeper = keeper
        self._turns = turns
        self._wake = {name: asyncio.Event() for name in site.names_with_slots()}

    # --- asking ---

    async def revoke(self, serial: int, *, asked_by: str, reason: str) -> Revocation:
        """In the ledger when it returns. A serial that is revoked already stays as it was asked first.

        Raises Refused with `serial-out-of-range`, StoreUnavailable when the ledger can't be written.
        """
        if not 0 < serial <= MAX_SERIAL:
            raise Refused(
                f"{serial} is not a serial.",
                remedy=f"A serial is a number from 1 to {MAX_SERIAL}, as printed on the transmitter.",
                code="serial-out-of-range",
            )
        known = self._ledger.revocations().get(serial)
        if known is None:
            known = Revocation(serial, asked_by, reason, self._clock.now())
            await self._ledger.revoke(known, self._old_slots(serial))
            self._turns.stamp_all()
            await self._tell_pending(known)
        self._wake_all()
        return replace(known, states=self.state(serial))

    async def lift(self, serial: int, *, asked_by: str, reason: str) -> None:
        """The roster decides about this serial again, from its next run on. Raises NotFound, StoreUnavailable."""
        if serial not in self._ledger.revocations():
            raise NotFound(
                f"Transmitter {write_serial(serial)} is not revoked.", remedy="List the revocations in force."
            )
        await self._ledger.lift(serial, asked_by, reason, self._clock.now())
        data = {"serial": write_serial(serial), "asked_by": asked_by, "reason": reason}
        event = EventDraft(EventName.REVOCATION_LIFTED, data=data)
        await self._journal.commit(Commit(events=(event,), unproven=(serial,)))

    def all(self) -> tuple[Revocation, ...]:
        newest_first = sorted(self._ledger.revocations().values(), key=lambda r: (r.time, r.serial), reverse=True)
        return tuple(replace(revocation, states=self.state(revocation.serial)) for revocation in newest_first)

    def state(self, serial: int) -> Mapping[str, RevocationState]:
        """By receiver with slots: proven when its memory was read since and the mirror still lacks the serial.

        Where no line reaches it is owed at the next visit, or done by hand.
        """
        proven = self._proofs.proven(serial)
        over_a_line = {
            name: RevocationState.PROVEN
            if name in proven and not _numbers(self._mirrors.load(name), {serial})
            else RevocationState.PENDING
            for name in self._wake
        }
        return {**over_a_line, **(self._by_hand.states(serial) if self._by_hand else {})}

    # --- doing ---

    async def run(self) -> None:
        """Bring revocations to the receivers; runs until it is cancelled."""
        async with asyncio.TaskGroup() as group:
            for name in self._wake:
                group.create_task(self._work(name), name=f"revocations of {name}")
            group.create_task(self._follow(), name="revocations: what wakes them")

    async def _work(self, name: str) -> None:
        pause_s: float | None = None
        while True:
            if not self._owed(name):
                pause_s = None
            if pause_s is not None or not self._owed(name):
                await self._wait(name, pause_s)
            self._wake[name].clear()
            owed = self._owed(name)
            if not owed:
                continue
            try:
                await self._take_out(self._site.receivers[name], owed)
                pause_s = None
            except GatepostError:
                # Seen by people as pending, and as the link's own state; tried again for as long as it takes.
                pause_s = FIRST_PAUSE_S if pause_s is None else next_pause(pause_s)

    async def _wait(self, name: str, pause_s: float | None) -> None:
        try:
            async with self._clock.timeout(pause_s):
                await self._wake[name].wait()
        except TimeoutError:
            return

    async def _follow(self) -> None:
        """Wake a worker for what happened at its receiver."""
        async for event in follow(self._journal, _WAKING):
            if event.receiver in self._wake:
                self._wake[event.receiver].set()

    def _owed(self, name: str) -> frozenset[int]:
        revoked = self._ledger.revocations()
        held = _numbers(self._mirrors.load(name), revoked.keys())
        back = set(held.values())
        return frozenset(s for s in revoked if s in back or name not in self._proofs.proven(s))

    async def _take_out(self, receiver: Receiver, serials: frozenset[int]) -> None:
        name = receiver.name
        async with self._turns.of(name).lock:
            pass  # a plan's frame that was on its way when the revocation came has landed now; no other follows
        freed: set[int] = set()
        mirror = self._mirrors.load(name) or await self._refresh(name)
        if mirror.confirmed and _numbers(mirror, serials):
            freed |= await self._free(receiver, mirror, serials)
        mirror = await self._refresh(name)
        if _numbers(mirror, serials):
            freed |= await self._free(receiver, mirror, serials)
            mirror = await self._refresh(name)
        if left := _numbers(mirror, serials):
            raise NotProven(
                f"{name} still holds revoked transmitters in {len(left)} slots after they were freed.",
                remedy="Somebody may be learning them at the board at this moment.",
            )
        await self._tell_applied(mirror, serials, len(freed))

    async def _refresh(self, name: str) -> Mirror:
        return await self._keeper.refresh(name, urgency=Urgency.REVOCATION)

    async def _free(self, receiver: Receiver, mirror: Mirror, serials: frozenset[int]) -> set[int]:
        """Free the slots, read them back, record them with the CRCs; which those are.

        A slot changed since is left to the refresh.
        """
        book = Book(receiver, mirror)
        freed: set[int] = set()
        waiting = sorted(_numbers(mirror, serials))
        while waiting:
            size = max(1, receiver.slots_per_write)
            group, waiting = waiting[:size], waiting[size:]
            try:
                async with self._turns.of(receiver.name).lock:
                    await receiver.write_slots([], group, book.seen, urgency=Urgency.REVOCATION)
            except GatepostError as fault:
                if fault.code != "slot-changed":
                    raise
                continue
            found = await receiver.read_slots(group, urgency=Urgency.REVOCATION)
            gone = {number for number in group if number not in found}
            book.wrote(dict.fromkeys(gone))
            freed |= gone
        stated = await receiver.read_block_crcs(urgency=Urgency.REVOCATION)
        await book.record(self._keeper, stated)
        return freed

    # --- telling ---

    async def _tell_pending(self, revocation: Revocation) -> None:
        """A full disk doesn't stop a revocation: the ledger has it, and the proof will be told when it can be."""
        data = {
            "serial": write_serial(revocation.serial),
            "asked_by": revocation.asked_by,
            "reason": revocation.reason,
            "receivers": self._names(),
            "owed": self._owed_by_hand(revocation.serial),
        }
        event = EventDraft(EventName.REVOCATION_PENDING, data=data)
        try:
            await self._journal.commit(Commit(events=(event,), unproven=(revocation.serial,)))
        except StoreUnavailable:
            return

    async def _tell_applied(self, mirror: Mirror, serials: frozenset[int], freed: int) -> None:
        name, revoked = mirror.receiver, self._ledger.revocations()
        proven = [serial for serial in sorted(serials) if serial in revoked]
        stated = await self._receipts.revoked(mirror, proven, written=freed)
        events = tuple(
            EventDraft(
                EventName.REVOCATION_APPLIED,
                name,
                {
                    "serial": write_serial(serial),
                    "asked_by": revoked[serial].asked_by,
                    "asked": revoked[serial].time.isoformat(),
                    "proven": True,
                    "receipt": stated.receipt,
                    "salt": stated.salts.get(serial, ""),
                },
            )
            for serial in proven
        )
        if proven:
            await self._journal.commit(Commit(events=events, proven=tuple((serial, name) for serial in proven)))

    def _old_slots(self, serial: int) -> dict[str, Slot]:
        held = {}
        for name in self._names():
            mirror = self._mirrors.load(name)
            slot = mirror.by_serial().get(serial) if mirror else None
            if slot is not None:
                held[name] = slot
        return held

    def _names(self) -> list[str]:
        return [*self._wake, *(self._by_hand.names if self._by_hand else ())]

    def _owed_by_hand(self, serial: int) -> list[str]:
        states = self._by_hand.states(serial) if self._by_hand else {}
        return [name for name, state in states.items() if state is RevocationState.OWED]

    def _wake_all(self) -> None:
        for event in self._wake.values():
            event.set()


def _numbers(mirror: Mirror | None, serials: Collection[int]) -> dict[int, int]:
    """The slots that hold one of these serials, and which."""
    if mirror is None:
        return {}
    return {number: slot.serial for number, slot in mirror.slots.items() if slot.serial in serials}
