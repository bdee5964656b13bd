"""The signed revocation list beside the roster: looked at every minute, so that one line reaches every gateway.

Each line becomes a revocation like any other (ledger first, then out of the receivers, proven or pending for
everybody to see). What is no longer listed stays revoked: only a line `lift` takes one back, and only one that this
list has asked for; what was revoked here is lifted here. What was lifted here while the list still names it is
revoked again at the next look. A list with faulty lines revokes what can be read, lifts nothing and says so; an older
revision is refused (rule 6 of the design), also after a restart.

Looks are spread: every gateway begins at a moment of its own within the minute, and waits after an answer, so many
sites that restart together don't ask together. Reads no file format and knows no network.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.roster import Fault
from gateway.errors import SourceRefused, SourceUnreachable, StoreUnavailable
from gateway.ports import (
    Commit,
    FetchedRevocations,
    Journal,
    ListedRevocation,
    ListLedger,
    NotModified,
    RevocationListSource,
    Revocations,
    RosterAcceptance,
)

__all__ = ["ASKED_BY", "EVERY_S", "RevocationList", "RevocationListState"]

ASKED_BY = "revocation list"
EVERY_S = 60.0
_JITTER = 0.1  # our choice: a tenth more or less, so that gateways that met by chance part again


@dataclass(frozen=True, slots=True)
class RevocationListState:
    """What the list's source last said. `revision` is the last one that was followed to its end."""

    place: str
    revision: int | None
    last_look: datetime | None
    last_good: datetime | None
    problem: str = ""
    remedy: str = ""
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class _Verdict:
    name: EventName = EventName.ROSTER_FETCHED
    problem: str = ""
    remedy: str = ""
    faults: tuple[Fault, ...] = ()


_GOOD = _Verdict()


class RevocationList:
    """Follows one list. `run` looks again and again, `look` once."""

    def __init__(
        self,
        *,
        source: RevocationListSource,
        revocations: Revocations,
        ledger: ListLedger,
        journal: Journal,
        clock: Clock,
        seed: str,
        every_s: float = EVERY_S,
    ) -> None:
        self._source = source
        self._revocations = revocations
        self._ledger = ledger
        self._journal = journal
        self._clock = clock
        self._every_s = every_s
        self._random = random.Random(seed)  # noqa: S311 - spreads requests, keeps no secret
        self._tag: str | None = None
        self._list: FetchedRevocations | None = None
        self._verdict = _GOOD
        self._told: tuple[_Verdict, int | None] | None = None
        self._last_look: datetime | None = None
        self._last_good: datetime | None = None

    def state(self) -> RevocationListState:
        accepted = self._ledger.accepted_list
        return RevocationListState(
            place=self._source.place,
            revision=accepted.revision if accepted else None,
            last_look=self._last_look,
            last_good=self._last_good,
            problem=self._verdict.problem,
            remedy=self._verdict.remedy,
            faults=self._verdict.faults,
        )

    async def run(self) -> None:
        """Look every minute; runs until it is cancelled."""
        await self._clock.sleep(self._random.uniform(0, self._every_s))
        while True:
            await self.look()
            await self._clock.sleep(self._every_s * self._random.uniform(1 - _JITTER, 1 + _JITTER))

    async def look(self) -> RevocationListState:
        """Ask the source and follow the list. What goes wrong is in the state and in the journal, not raised."""
        self._last_look = self._clock.now()
        self._verdict = await self._look()
        if not self._verdict.problem:
            self._last_good = self._last_look
        await self._tell()
        return self.state()

    async def _look(self) -> _Verdict:
        verdict = _GOOD
        try:
            answer = await self._source.fetch(self._tag)
        except SourceUnreachable as fault:
            verdict = _Verdict(EventName.ROSTER_UNREACHABLE, fault.message, fault.remedy)
        except SourceRefused as fault:
            verdict = _Verdict(EventName.ROSTER_REFUSED, fault.message, fault.remedy)
        else:
            if not isinstance(answer, NotModified):
                outdated = self._outdated(answer)
                if outdated is not None:
                    verdict = outdated  # the tag stays: whatever comes next is fetched anew
                else:
                    self._list, self._tag = answer, answer.tag
        if self._list is None:
            return verdict
        followed = await self._follow(self._list)
        return verdict if verdict.problem else followed

    def _outdated(self, new: FetchedRevocations) -> _Verdict | None:
        """A list that is not newer than the last one: an old one that came back could lift what was revoked since."""
        accepted = self._ledger.accepted_list
        if accepted is None or accepted.revision is None or new.revision > accepted.revision:
            return None
        if new.revision == accepted.revision and new.digest == accepted.digest:
            return None
        another = "which another list had before" if new.revision == accepted.revision else "an older one"
        return _Verdict(
            EventName.ROSTER_REFUSED,
            f"The revocation list is signed as revision {new.revision}, {another}; {accepted.revision} was followed.",
            f"Put the newest list in place, or sign this one as revision {accepted.revision + 1} or higher.",
        )

    async def _follow(self, current: FetchedRevocations) -> _Verdict:
        """Revoke and lift what isn't yet; the same list again changes nothing."""
        try:
            for entry in current.entries:
                if entry.lift:
                    if not current.faults:
                        await self._lift(entry)
                elif entry.serial not in self._ledger.revocations():
                    reason = entry.reason or "on the revocation list"
                    await self._revocations.revoke(entry.serial, asked_by=ASKED_BY, reason=reason)
            accepted = self._ledger.accepted_list
            if not current.faults and (accepted is None or accepted.revision != current.revision):
                acceptance = RosterAcceptance(current.digest, self._clock.now(), current.revision)
                await self._ledger.accept_list(acceptance)
        except StoreUnavailable as fault:
            problem = f"The revocation list can't be followed: {fault.message}"
            return _Verdict(EventName.ROSTER_REFUSED, problem, fault.remedy)
        return _GOOD if not current.faults else _faulty(current.faults)

    async def _lift(self, entry: ListedRevocation) -> None:
        known = self._ledger.revocations().get(entry.serial)
        if known is not None and known.asked_by == ASKED_BY:
            await self._revocations.lift(entry.serial, asked_by=ASKED_BY, reason=entry.reason)

    # --- telling ---

    async def _tell(self) -> None:
        """Once per change, and not that all is well before there was a list."""
        accepted = self._ledger.accepted_list
        key = (self._verdict, accepted.revision if accepted else None)
        if key == self._told or (self._list is None and not self._verdict.problem):
            return
        data: dict[str, object] = {"list": "revocations", "place": self._source.place, "revision": key[1]}
        if self._verdict.problem:
            data |= {"problem": self._verdict.problem, "remedy": self._verdict.remedy}
            data["faults"] = len(self._verdict.faults)
        elif self._list is not None:
            lifted = sum(entry.lift for entry in self._list.entries)
            data |= {"revoked": len(self._list.entries) - lifted, "lifted": lifted}
        try:
            await self._journal.commit(Commit(events=(EventDraft(self._verdict.name, data=data),)))
        except StoreUnavailable:
            return  # told at the next look; the state has it all the while
        self._told = key


def _faulty(faults: tuple[Fault, ...]) -> _Verdict:
    first = faults[0]
    count = "one faulty line" if len(faults) == 1 else f"{len(faults)} faulty lines"
    return _Verdict(
        EventName.ROSTER_REFUSED,
        f"The revocation list has {count}, so nothing is lifted; the first is line {first.row}: {first.found}",
        f"{first.remedy}; then sign the list again.",
        faults,
    )
