"""Enrolments from the first press to the row, and overrides, as people ask for them (`ports.EnrolmentDesk`).

Completing makes rows of what was confirmed. Asked for, they work at once: as overrides, in the ledger first, then by a
plan at every receiver that their rights name. A revoked transmitter gets its row and nothing else (rule 5 of the
design). When the gateway keeps the roster itself the rows can go straight into it.
"""

from __future__ import annotations

from collections.abc import Sequence

from gateway.clock import Clock
from gateway.domain.enrolment import Enrolment, EnrolmentStep, EnrolmentWay, Override
from gateway.domain.events import EventName
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import (
    Brought,
    Enrolled,
    EnrolmentOrder,
    EventFilter,
    Journal,
    Ledger,
    OverrideLedger,
    RosterAdditions,
    RowForm,
)
from gateway.sync.drafting import RosterInForce
from gateway.sync.enrolling import MAX_SECONDS, Enroller
from gateway.sync.enrolment_rows import enrolled_rows
from gateway.sync.following import follow
from gateway.sync.override_runs import OverrideRuns
from gateway.sync.overrides import settle_overrides
from gateway.sync.site import Site

__all__ = ["EnrolmentDesk"]

_ROSTER = EventFilter(names=frozenset({EventName.ROSTER_FETCHED}))


class EnrolmentDesk:
    """`ports.EnrolmentDesk`. `rosters` is the roster in force without overrides."""

    def __init__(
        self,
        *,
        enroller: Enroller,
        runs: OverrideRuns,
        site: Site,
        clock: Clock,
        journal: Journal,
        ledger: Ledger,
        kept: OverrideLedger,
        rosters: RosterInForce,
        form: RowForm,
    ) -> None:
        self._enroller = enroller
        self._runs = runs
        self._site = site
        self._clock = clock
        self._journal = journal
        self._ledger = ledger
        self._kept = kept
        self._rosters = rosters
        self._form = form
        self._additions: RosterAdditions | None = None

    def offer(self, additions: RosterAdditions) -> None:
        """From now on rows can go into the roster that the gateway keeps itself."""
        self._additions = additions

    async def start(
        self, receiver: str, way: EnrolmentWay, *, serial: int | None = None, seconds: int = MAX_SECONDS, asked_by: str
    ) -> Enrolment:
        return await self._enroller.start(receiver, way, serial=serial, seconds=seconds, asked_by=asked_by)

    def get(self, receiver: str, enrolment_id: str) -> Enrolment:
        return self._enroller.get(receiver, enrolment_id)

    def of(self, receiver: str) -> tuple[Enrolment, ...]:
        return self._enroller.of(receiver)

    async def finish(self, receiver: str, enrolment_id: str) -> Enrolment:
        return await self._enroller.finish(receiver, enrolment_id)

    async def cancel(self, receiver: str, enrolment_id: str) -> Enrolment:
        return await self._enroller.cancel(receiver, enrolment_id)

    async def complete(
        self,
        receiver: str,
        enrolment_id: str,
        orders: Sequence[EnrolmentOrder],
        *,
        in_force: bool,
        add: bool,
        asked_by: str,
    ) -> Enrolled:
        enrolment = self._enroller.get(receiver, enrolment_id)
        self._check(enrolment, orders)
        additions = self._own_roster() if add else None
        roster = self._roster()
        entries, left_out = enrolled_rows(orders, roster, self._site.facts, self._form)
        rows = tuple(self._form.write(entry) for entry in entries)
        if additions is not None:
            await additions.add_rows(entries, asked_by=asked_by)
        overrides, revoked = await self._keep(entries, roster, asked_by) if in_force else ((), ())
        await self._enroller.complete(enrolment)
        brought, notes = await self._bring(overrides, asked_by)
        await settle_overrides(self._rosters, self._kept)  # a roster that has them may have come meanwhile
        left_out = (*left_out, *revoked, *notes)
        return Enrolled(self._form.header, rows, entries, additions is not None, overrides, brought, left_out)

    def overrides(self) -> tuple[Override, ...]:
        return tuple(self._kept.overrides().values())

    async def withdraw(self, serial: int, *, asked_by: str) -> None:
        if serial not in self._kept.overrides():
            raise NotFound(
                f"Transmitter {write_serial(serial)} works by no local override.",
                remedy="List the overrides; what the roster has is changed in the roster.",
            )
        await self._kept.end_override(serial)
        await self._runs.forget(serial)

    async def run(self) -> None:
        """End overrides that the roster has taken over, now and whenever one is accepted; runs until cancelled."""
        await settle_overrides(self._rosters, self._kept)
        async for _ in follow(self._journal, _ROSTER):
            await settle_overrides(self._rosters, self._kept)

    # --- completing ---

    def _check(self, enrolment: Enrolment, orders: Sequence[EnrolmentOrder]) -> None:
        if enrolment.step.is_listening:
            raise Refused(
                f"{enrolment.receiver} still listens for this enrolment.",
                remedy="Finish or cancel the listening first.",
                code="enrolment-listening",
            )
        if enrolment.step is not EnrolmentStep.CONFIRMED or not self._enroller.is_in_time(enrolment):
            raise Refused(
                f"This enrolment is over ({enrolment.step.value}).", remedy="Start it again.", code="enrolment-over"
            )
        confirmed = {each.serial for each in enrolment.confirmed}
        wanted = [order.serial for order in orders]
        strange = next((serial for serial in wanted if serial not in confirmed), None)
        if strange is not None or len(set(wanted)) != len(wanted) or not wanted:
            which = "Nothing" if strange is None else f"Transmitter {write_serial(strange)}"
            raise Refused(
                f"{which} is not what was confirmed here, each once.",
                remedy=f"Confirmed are: {', '.join(write_serial(each) for each in sorted(confirmed))}.",
                code="not-confirmed",
            )

    def _own_roster(self) -> RosterAdditions:
        if self._additions is None:
            raise Refused(
                "The roster of this site is not kept by the gateway.",
                remedy="Add the row to the central file; until then it can work as a local override.",
                code="roster-elsewhere",
            )
        return self._additions

    def _roster(self) -> Roster | None:
        return self._rosters.in_force.roster if self._rosters.in_force else None

    async def _keep(
        self, entries: Sequence[Entry], roster: Roster | None, asked_by: str
    ) -> tuple[tuple[Override, ...], tuple[str, ...]]:
        """The overrides, durable; and sentences about those that are revoked."""
        revoked, made, words = self._ledger.revocations(), [], []
        for entry in entries:
            if entry.serial in revoked:
                who = f"{entry.holder}, transmitter {write_serial(entry.serial)},"
                words.append(f"{who} is revoked and stays out until the revocation is lifted.")
                continue
            override = Override(
                serial=entry.serial, holder=entry.holder, kind=entry.kind, group=entry.group, rights=entry.rights,
                note=entry.note, asked_by=asked_by, time=self._clock.now(), made_under=roster.digest if roster else "",
            )  # fmt: skip
            await self._kept.keep_override(override)
            made.append(override)
        return tuple(made), tuple(words)

    def _names(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The receivers on lines, and those that are worked by hand."""
        return self._site.names_with_slots(), self._site.names_by_hand()

    async def _bring(self, overrides: Sequence[Override], asked_by: str) -> tuple[tuple[Brought, ...], tuple[str, ...]]:
        serials: dict[str, list[int]] = {}
        notes = []
        for override in overrides:
            named = {right.receiver for right in override.rights}
            here, by_hand = (sorted(named & set(names)) for names in self._names())
            for receiver in here:
                serials.setdefault(receiver, []).append(override.serial)
            who = f"Transmitter {write_serial(override.serial)}"
            notes += [f"{who} stands on the visit sheet of {name}, which no line reaches." for name in by_hand]
            if not here and not by_hand:
                notes.append(f"{who} works nothing at this site.")
        brought = await self._runs.bring(serials, asked_by=asked_by) if serials else ()
        return brought, (*notes, *_left_out(brought))


def _left_out(brought: Sequence[Brought]) -> list[str]:
    return [words for each in brought if each.plan is not None for words in each.plan.left_out]
