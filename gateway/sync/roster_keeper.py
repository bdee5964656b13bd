"""The roster in force: fetched, checked as a whole, accepted, kept, and there again after a restart.

Rule 6 of the design: an unreachable source and a faulty file leave the last good roster in force, and say so. What the
source says is journaled once per change, not at every try. A roster is accepted in this order: its bytes are
kept, then the ledger names its digest, then it is in force, then the journal tells; so the ledger never names bytes
that are not there, and whoever acts on the event finds the roster that it tells of.
It reads no file format and knows no network; those are the reader's and the source's.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.roster import Fault, Roster
from gateway.errors import SourceRefused, SourceUnreachable, StoreUnavailable
from gateway.ports import (
    Commit,
    Fetched,
    Journal,
    Ledger,
    NotModified,
    ReceiverFacts,
    RosterAcceptance,
    RosterArchive,
    RosterBook,
    RosterCheck,
    RosterReader,
    RosterSource,
    RosterState,
    Timetable,
    Trust,
)
from gateway.sync.drafting import InForce
from gateway.sync.due import Due

__all__ = ["RosterKeeper"]


@dataclass(frozen=True, slots=True)
class _Verdict:
    """What was last found of the file, or of the way to it. `key` tells one from another; "" is good."""

    key: str = ""
    problem: str = ""
    remedy: str = ""
    faults: tuple[Fault, ...] = ()
    warnings: tuple[Fault, ...] = ()

    @property
    def unreachable(self) -> bool:
        """Whether nothing came from the source at all."""
        return self.key.startswith("unreachable")


_GOOD = _Verdict()
_UNKEPT = "unkept"
"""Not told as an event: the store's own state tells, and the same file is asked for again at the next fetch."""
_NOTHING_HELD = _Verdict(
    key="refused unchanged",
    problem="The source says that the roster has not changed, and none has ever come from it.",
    remedy="Check the web server: it answers 304 to a request that named no earlier version.",
)


class RosterKeeper:
    """`ports.RosterDesk`, and whoever asks for the roster `in_force`."""

    def __init__(
        self,
        *,
        source: RosterSource,
        reader: RosterReader,
        archive: RosterArchive,
        ledger: Ledger,
        journal: Journal,
        clock: Clock,
        receivers: Sequence[ReceiverFacts],
        timetable: Timetable | None = None,
        book: RosterBook | None = None,
        trust: Trust | None = None,
    ) -> None:
        self._source = source
        self._reader = reader
        self._archive = archive
        self._ledger = ledger
        self._journal = journal
        self._clock = clock
        self._receivers = receivers
        self._timetable = timetable
        self._book = book
        self._trust = trust
        self._lock = asyncio.Lock()
        self._roster: Roster | None = None
        self._earlier: Roster | None = None
        self._tag: str | None = None
        self._of_file = _GOOD
        self._of_way = _GOOD
        self._told: tuple[str, str] | None = None
        self._last_fetch: datetime | None = None
        self._last_good: datetime | None = None

    @property
    def in_force(self) -> InForce | None:
        if self._roster is None:
            return None
        return InForce(self._roster, self._ledger.accepted, self._earlier)

    def state(self) -> RosterState:
        verdict = self._of_way if self._of_way.key else self._of_file
        return RosterState(
            place=self._source.place,
            roster=self._roster,
            accepted=self._ledger.accepted,
            last_fetch=self._last_fetch,
            last_good=self._last_good,
            problem=verdict.problem,
            remedy=verdict.remedy,
            faults=self._of_file.faults,
            warnings=self._of_file.warnings,
            next_run=self._timetable.next_run() if self._timetable else None,
            unreachable=verdict.unreachable,
        )

    async def load(self) -> RosterState:
        """At start: put the last accepted roster in force again, from its kept bytes."""
        async with self._lock:
            accepted = self._ledger.accepted
            if accepted is None or self._roster is not None:
                return self.state()
            kept = await self._archive.load(accepted.digest)
            check = await self._check(kept) if kept is not None else None
            if kept is not None and check is not None and check.roster and check.roster.digest == accepted.digest:
                self._roster, self._tag = check.roster, kept.tag
                self._of_file = replace(_GOOD, warnings=check.warnings)
                self._told = ("", accepted.digest)
                await self._write_down(now=False)
            else:
                self._of_file = _Verdict(
                    key="not-kept",
                    problem="The last accepted roster is not readable in the gateway's own archive.",
                    remedy="Nothing is changed on any receiver until the source gives a good roster again.",
                    faults=check.faults if check else (),
                )
            return self.state()

    async def fetch(self, *, due: Due | None = None) -> RosterState:
        """Ask the source now. `due` is the timetable's; runs that it missed are told with the event.

        Faults, an unreachable source and a new roster that can't be kept (a full disk; it is then not in force) are
        in the state, not raised.
        """
        async with self._lock:
            self._last_fetch = self._clock.now()
            try:
                fetched = await self._source.fetch(self._tag)
            except SourceUnreachable as fault:
                self._of_way = _Verdict(f"unreachable {fault.message}", fault.message, fault.remedy)
            except SourceRefused as fault:
                self._of_way = _Verdict(f"refused {fault.message}", fault.message, fault.remedy)
            else:
                self._of_way = _GOOD
                if not isinstance(fetched, NotModified):
                    await self._judge(fetched)
                elif self._roster is None and not self._of_file.key:
                    self._of_file = _NOTHING_HELD
                if not self._of_file.key:
                    self._last_good = self._last_fetch
            await self._tell(due)
            return self.state()

    async def _judge(self, fetched: Fetched) -> None:
        check = await self._check(fetched)
        roster = check.roster
        if roster is None or not roster.entries:
            self._tag = fetched.tag
            self._of_file = _refusal(check)
            return
        outdated = self._outdated(roster, fetched.revision)
        if outdated is not None:
            self._tag = fetched.tag
            self._of_file = outdated
            return
        if self._roster is None or roster.digest != self._roster.digest or self._signed_anew(fetched.revision):
            try:
                await self._accept(roster, fetched)
            except StoreUnavailable as fault:
                self._of_file = _Verdict(_UNKEPT, f"A new roster can't be kept: {fault.message}", fault.remedy)
                return
        self._tag = fetched.tag
        self._of_file = replace(_GOOD, warnings=check.warnings)

    async def _check(self, fetched: Fetched) -> RosterCheck:
        """In a thread: thousands of rows take long enough to make a line late."""
        return await asyncio.to_thread(self._reader.check, fetched.roster, fetched.groups, self._receivers)

    async def _accept(self, roster: Roster, fetched: Fetched) -> None:
        accepted = self._ledger.accepted
        await self._archive.keep(roster.digest, fetched)
        if accepted is None or accepted.digest != roster.digest:
            trusted = self._trust is not None and self._trust.trusted
            await self._ledger.accept_roster(
                RosterAcceptance(roster.digest, self._clock.now(), fetched.revision, trusted)
            )
        elif self._signed_anew(fetched.revision):
            await self._ledger.accept_roster(replace(accepted, revision=fetched.revision))
        if self._roster is None or self._roster.digest != roster.digest:
            self._earlier, self._roster = self._roster, roster
        await self._write_down(now=True)

    async def _write_down(self, *, now: bool) -> None:
        """For the history. The roster is in force whether or not this can be kept; the next start makes it up."""
        accepted = self._ledger.accepted
        if self._book is None or self._roster is None or accepted is None:
            return
        with contextlib.suppress(StoreUnavailable):
            await self._book.note(self._roster, accepted, now=now)

    def _signed_anew(self, revision: int | None) -> bool:
        """Whether the same roster came with another revision, which then counts as the last accepted one."""
        accepted = self._ledger.accepted
        return accepted is not None and revision is not None and revision != accepted.revision

    def _outdated(self, roster: Roster, revision: int | None) -> _Verdict | None:
        """A signed roster whose revision is not newer than the last accepted one's: an old file that came back."""
        accepted = self._ledger.accepted
        if accepted is None or accepted.revision is None or revision is None or revision > accepted.revision:
            return None
        if revision < accepted.revision:
            return _Verdict(
                key=f"refused older {revision}",
                problem=f"The roster is signed as revision {revision}, and {accepted.revision} was accepted before.",
                remedy=f"Put the newest roster there, or sign this one as revision {accepted.revision + 1} or higher.",
            )
        if roster.digest == accepted.digest:
            return None
        return _Verdict(
            key=f"refused same {revision} {roster.digest}",
            problem=f"The roster is signed as revision {revision}, which another roster had before.",
            remedy=f"Sign it as revision {revision + 1} or higher: the number rises with every change.",
        )

    # --- telling ---

    async def _tell(self, due: Due | None) -> None:
        digest = self._roster.digest if self._roster else ""
        key = (self._of_way.key or self._of_file.key, digest)
        missed = due.missed if due else 0
        if (key == self._told and not missed) or key[0] == _UNKEPT:
            return
        try:
            await self._journal.commit(Commit(events=(self._event(due),)))
        except StoreUnavailable:
            return  # told at the next fetch; the state has it all the while
        self._told = key

    def _event(self, due: Due | None) -> EventDraft:
        verdict = self._of_way if self._of_way.key else self._of_file
        data: dict[str, object] = {"place": self._source.place, "digest": self._roster.digest if self._roster else ""}
        if due is not None and due.missed:
            data |= {"due": due.time.isoformat(), "missed": due.missed}
        if verdict.key:
            data |= {"problem": verdict.problem, "remedy": verdict.remedy, "faults": len(verdict.faults)}
            name = EventName.ROSTER_UNREACHABLE if verdict.unreachable else EventName.ROSTER_REFUSED
            return EventDraft(name, data=data)
        assert self._roster is not None
        data |= {
            "transmitters": len(self._roster.entries),
            "holders": len({entry.holder for entry in self._roster.entries}),
            "warnings": len(verdict.warnings),
        }
        return EventDraft(EventName.ROSTER_FETCHED, data=data)


def _refusal(check: RosterCheck) -> _Verdict:
    if not check.faults:
        return _Verdict(
            key="refused empty",
            problem="The roster has no transmitters.",
            remedy="An empty roster is never accepted; put the right file in place.",
        )
    first = check.faults[0]
    count = "1 fault" if len(check.faults) == 1 else f"{len(check.faults)} faults"
    where = f"{first.file}, row {first.row}, {first.column}" if first.row else first.file
    return _Verdict(
        key=f"refused {hash(check.faults)}",
        problem=f"The roster has {count}; the first: {where}: {first.found}; {first.remedy.rstrip('.')}.",
        remedy="`gatepost roster check FILE` shows all of them; the last good roster stays in force.",
        faults=check.faults,
        warnings=check.warnings,
    )
