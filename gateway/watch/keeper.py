"""Keeping mirrors: the gateway's proven copies of what receivers hold (`ports.MirrorKeeper`).

A refresh asks who answers, its status and its block sums; that decides what is read. What differs from the stored
mirror is journaled together with the new one, after all events that were still on their way. One refresh at a time
per receiver; whoever waits for it lends it his urgency.

A receiver that is not the known one (see `recognition`) is never read into the mirror: the old one is kept until
somebody confirms, and `refresh` and `record` refuse, so nothing is planned or written.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from gateway.domain.events import EventDraft, EventName
from gateway.domain.live import Reading
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Origin, Slot
from gateway.domain.urgency import Urgency
from gateway.errors import NotFound, ReceiverRefused, Refused
from gateway.ports import Mirrors, Progress
from gateway.watch.drift import DriftFinder
from gateway.watch.follower import PASSWORD_CODES, UNCONFIRMED, Follower, Look
from gateway.watch.memory_reading import MemoryReading, Proven, nothing_to_report
from gateway.watch.recognition import never_read, same_receiver, stranger_words
from gateway.watch.slot_changes import SlotChange, settings_event, slot_changes, slot_events

__all__ = ["Keeper"]


@dataclass(slots=True)
class _Kept:
    """One receiver. `settings_known` is False while the stored settings may be older than the mirror's revision."""

    follower: Follower
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    urgencies: list[Urgency] = field(default_factory=list)
    settings_known: bool = False
    verified: bool = False


class Keeper:
    """`ports.MirrorKeeper` over the followers."""

    def __init__(
        self,
        followers: Sequence[Follower],
        *,
        mirrors: Mirrors,
        drift: DriftFinder,
        tell_reading: Callable[[str, Reading | None], None] = lambda receiver, reading: None,
    ) -> None:
        self._tell_reading = tell_reading
        self._kept = {follower.name: _Kept(follower) for follower in followers}
        self._mirrors = mirrors
        self._drift = drift

    def is_proven(self, receiver: str) -> bool:
        """True when mirror and receiver have been compared since the start and nothing casts doubt on it since."""
        kept = self._of(receiver)
        return kept.verified and kept.settings_known

    async def refresh(
        self, receiver: str, *, urgency: Urgency = Urgency.BULK, progress: Progress | None = None
    ) -> Mirror:
        """See `ports.MirrorKeeper`. Also raises StoreUnavailable, when what was found can't be made durable."""
        kept = self._of(receiver)
        kept.urgencies.append(urgency)
        try:
            async with kept.lock:
                return await self._refresh(kept, self._reporting(receiver, progress or nothing_to_report))
        except ReceiverRefused as refusal:
            if refusal.code in PASSWORD_CODES:
                kept.follower.refuse(refusal)
            raise
        finally:
            kept.urgencies.remove(urgency)
            self._tell_reading(receiver, None)

    def _reporting(self, receiver: str, progress: Progress) -> Progress:
        """Told to everybody who looks at the receiver too, not only to whoever waits for it."""

        def report(done: int, total: int, words: str) -> None:
            self._tell_reading(receiver, Reading(done, total))
            progress(done, total, words)

        return report

    async def record(
        self, receiver: str, slots: Mapping[int, Slot | None], revision: int, crcs: tuple[int, ...]
    ) -> Mirror:
        """See `ports.MirrorKeeper`. Where `crcs` say that something else changed too, the mirror keeps its older
        revision, so that it is refreshed soon."""
        kept = self._of(receiver)
        async with kept.lock, kept.follower.lock:
            mirror = self._known(kept)
            if mirror.revision > revision:
                return mirror
            written = {n: slot for n, slot in slots.items() if slot is not None}
            after = {n: slot for n, slot in mirror.slots.items() if n not in slots} | written
            sums = _sums_after(kept.follower, mirror, after, slots)
            proven = sums == crcs
            new = replace(mirror, slots=after, block_crcs=sums, revision=revision if proven else mirror.revision)
            changes = slot_changes(mirror.slots, after, lambda number: Origin.LINE)
            kept.settings_known = kept.settings_known and revision == mirror.revision
            await kept.follower.teller.commit(slot_events(receiver, changes, mirror.limits, revision), new)
        return self._mirrors.load(receiver) or new

    async def confirm(self, receiver: str) -> None:
        """See `ports.MirrorKeeper`. Another receiver starts with an empty mirror and is read whole at the next refresh.

        Its ring is followed from its newest event on: what it told before it stood here is none of ours.
        Raises Refused with `receiver-unseen` when nothing has answered since the start.
        """
        kept = self._of(receiver)
        follower = kept.follower
        async with kept.lock, follower.lock:
            mirror, look = self._mirrors.load(receiver), follower.last
            if mirror is None or mirror.confirmed:
                return
            if look is None:
                raise Refused(
                    f"No receiver has answered as {receiver} since the start.",
                    remedy="Wait until it answers, look at its serial, and confirm again.",
                    code="receiver-unseen",
                )
            data = {
                "reason": "confirmed",
                "known": mirror.identity.serial,
                "answers": look.identity.serial,
                "confirmed": True,
            }
            draft = EventDraft(EventName.RECEIVER_REPLACED, receiver, data)
            if follower.strange == UNCONFIRMED:
                await follower.teller.commit([draft], replace(mirror, confirmed=True))
            else:
                follower.start_ring_anew()
                await follower.teller.commit([draft], Mirror(receiver, look.identity, look.limits, revision=0))
            follower.strange = ""
            kept.verified = False

    # --- one refresh ---

    async def _refresh(self, kept: _Kept, progress: Progress) -> Mirror:
        follower = kept.follower
        look = await follower.look(identify=True, urgency=min(*kept.urgencies, Urgency.CONTROL))
        old = self._mirrors.load(follower.name)
        _refuse_strange(follower, old)
        known = None if old is None or never_read(old) else old
        reading = MemoryReading(
            follower.receiver,
            look.limits,
            known=known,
            settings_known=kept.settings_known,
            urgency=lambda: min(kept.urgencies),
            progress=progress,
        )
        proven = await reading.run(look.status.revision or 0)
        follower.admit()
        newest = look
        if proven.revision != (look.status.revision or 0):
            newest = await follower.look(urgency=min(*kept.urgencies, Urgency.CONTROL))  # who made the newer changes
        mirror = await self._keep(follower, known, look, proven)
        if proven.revision == newest.status.revision == (follower.last or newest).status.revision:
            follower.origins.forget()
        kept.settings_known = kept.verified = True
        return mirror

    async def _keep(self, follower: Follower, known: Mirror | None, look: Look, proven: Proven) -> Mirror:
        async with follower.lock:
            _refuse_strange(follower, self._mirrors.load(follower.name))
            new = Mirror(
                receiver=follower.name,
                identity=look.identity,
                limits=look.limits,
                revision=proven.revision,
                slots=proven.slots,
                block_crcs=proven.crcs,
                settings=proven.settings,
            )
            stored = self._mirrors.load(follower.name)
            if stored is not None and new == replace(stored, cursor=None):
                return stored
            changes = _changes(follower, known, new)
            events = slot_events(follower.name, changes, look.limits, proven.revision)
            events += _settings_events(follower, stored if known else None, new)
            events += await self._drift.events(
                follower.name, changes, proven.revision,
                before=known, status=look.status, left=len(new.slots), reset=follower.origins.of_reset,
            )  # fmt: skip
            await follower.teller.commit(events, new)
        return self._mirrors.load(follower.name) or new

    def _known(self, kept: _Kept) -> Mirror:
        mirror = self._mirrors.load(kept.follower.name)
        if mirror is None:
            raise NotFound(
                f"Nothing is known yet of what {kept.follower.name} holds.",
                remedy="Let it be read first: gatepost snapshot take, or wait until it answers.",
            )
        _refuse_strange(kept.follower, mirror)
        return mirror

    def _of(self, receiver: str) -> _Kept:
        if receiver not in self._kept:
            known = ", ".join(self._kept) or "none"
            raise NotFound(f"There is no receiver {receiver}.", remedy=f"The settings name: {known}.")
        return self._kept[receiver]


def _refuse_strange(follower: Follower, mirror: Mirror | None) -> None:
    if follower.strange:
        problem, remedy = stranger_words(mirror, follower.last.identity if follower.last else None, follower.strange)
        raise Refused(problem, remedy=remedy, code="receiver-unconfirmed")


def _changes(follower: Follower, known: Mirror | None, new: Mirror) -> list[SlotChange]:
    """Nothing is a change of a receiver that was never read before."""
    if known is None or not same_receiver(known.identity, new.identity):
        return []
    origins = follower.origins
    return slot_changes(known.slots, new.slots, origins.of_slot, origins.by_reset)


def _settings_events(follower: Follower, stored: Mirror | None, new: Mirror) -> list[EventDraft]:
    if stored is None or stored.settings is None or new.settings is None or stored.settings == new.settings:
        return []
    origin = follower.origins.of_settings
    names = [follower.output_name(number) for number in range(1, new.limits.outputs + 1)]
    return [settings_event(follower.name, stored.settings, new.settings, origin, new.revision, names=names)]


def _sums_after(
    follower: Follower, mirror: Mirror, after: Mapping[int, Slot], touched: Mapping[int, Slot | None]
) -> tuple[int, ...]:
    sums = list(mirror.block_crcs)
    for block in {mirror.limits.block_of(number) for number in touched}:
        sums[block] = follower.receiver.block_crc(mirror.limits, block, after)
    return tuple(sums)
