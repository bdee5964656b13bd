"""The roster that a gateway keeps itself: edited piece by piece, checked as a whole, kept, put in force as any other.

The order of an edit: nobody else edits; what it starts from is still so; the files with it are checked as any file is,
with all faults; they are durable as a numbered revision; then the ordinary way accepts them. Plans, guards and
timetables know nothing of where the roster came from.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

from gateway.clock import Clock
from gateway.domain.roster import Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused, StoreDamaged, StoreUnavailable
from gateway.ports import (
    Basis,
    EditOutcome,
    KeptRosters,
    PutFiles,
    ReceiverFacts,
    RemoveRow,
    RosterArchive,
    RosterCheck,
    RosterDesk,
    RosterEdit,
    RosterEditor,
    RosterPair,
    RosterReader,
    RosterRevision,
    rights_now,
)
from gateway.sync.roster_words import newly_over, roster_changes

__all__ = ["OwnRosterDesk"]


class OwnRosterDesk:
    """`ports.OwnRoster`. `kept` None: the settings name another source."""

    def __init__(
        self,
        *,
        kept: KeptRosters | None,
        editor: RosterEditor,
        reader: RosterReader,
        rosters: RosterDesk,
        archive: RosterArchive,
        receivers: Sequence[ReceiverFacts],
        clock: Clock,
        zone: ZoneInfo,
    ) -> None:
        self._kept = kept
        self._editor = editor
        self._reader = reader
        self._rosters = rosters
        self._archive = archive
        self._receivers = receivers
        self._clock = clock
        self._zone = zone
        self._lock = asyncio.Lock()
        self._read: tuple[str, Roster | None] = ("", None)

    @property
    def ours(self) -> bool:
        return self._kept is not None

    async def tag(self, subject: str) -> str:
        found = await self._newest(self._need(), [])
        return _tag(subject, found, await self._roster_of(found))

    async def edit(
        self,
        edits: Sequence[RosterEdit],
        *,
        who: str,
        how: str = "edited",
        subject: str = "",
        basis: Basis | None = None,
        preview: bool = False,
    ) -> EditOutcome:
        """Cancelled, the edit is kept or not, and in force at the next fetch if it is."""
        kept = self._need()
        async with self._lock:
            found = await self._newest(kept, edits)
            current = await self._roster_of(found)
            if basis is not None:
                basis(_tag(subject, found, current))
            old = found[1] if found else None
            pair = await asyncio.to_thread(self._editor.edit, old, current, edits)
            pair, check = await self._as_kept(pair, old)
            if not check.transmitters and any(isinstance(each, RemoveRow) for each in edits):
                raise Refused(
                    "The roster would be empty, and an empty roster is never put in force.",
                    remedy="Revoke the last transmitter instead, or add another one first.",
                    code="roster-empty",
                )
            if check.roster is None:
                return EditOutcome(None, faults=check.faults, warnings=check.warnings)
            words = await asyncio.to_thread(self._words, current, check.roster)
            warnings = check.warnings
            if not any(isinstance(each, PutFiles) for each in edits):
                warnings += tuple(newly_over(current, check.roster, self._clock.now(), self._zone))
            if old == pair or preview:
                return EditOutcome(None, words, warnings=warnings)
            told = words or ("other text in the files; who works what stays as it was",)
            revision = RosterRevision(0, self._clock.now(), who, how, told, check.roster.digest)
            revision = await kept.keep(pair, revision)
        state = await self._rosters.fetch()
        in_force = state.accepted is not None and state.accepted.digest == revision.digest
        problem = "" if in_force else state.problem or "Another edit came right after it."
        return EditOutcome(revision, revision.words, warnings=warnings, problem=problem)

    async def files(self, number: int = 0) -> tuple[RosterRevision, RosterPair]:
        kept = self._need()
        if number == 0:
            found = await kept.newest()
            if found is None:
                raise _nothing()
            return found
        listed = await kept.revisions(before=number + 1, limit=1)
        pair = await kept.load(number) if listed and listed[0].number == number else None
        if pair is None:
            raise NotFound(
                f"The files of revision {number} are not kept.",
                remedy="List the edits; the files of the newest ones are there.",
            )
        return listed[0], pair

    async def book(self, form: str, number: int = 0) -> tuple[RosterRevision, bytes]:
        """In a thread, as the check."""
        revision, pair = await self.files(number)
        return revision, await asyncio.to_thread(self._editor.book_form, pair, form)

    async def revisions(self, *, before: int = 0, limit: int = 100) -> tuple[RosterRevision, ...]:
        return await self._need().revisions(before=before, limit=limit)

    async def mend(self) -> None:
        """At start: when the newest revision is damaged, the roster that was in force becomes the newest.

        Where that can't be done, the source goes on saying what is wrong.
        """
        if self._kept is None:
            return
        with contextlib.suppress(StoreUnavailable):
            await self._mend(self._kept)

    async def _mend(self, kept: KeptRosters) -> None:
        try:
            await kept.newest()
        except StoreDamaged as fault:
            accepted = self._rosters.state().accepted
            archived = await self._archive.load(accepted.digest) if accepted else None
            if accepted is not None and archived is not None:
                pair, check = await self._as_kept(RosterPair(archived.roster, archived.groups), None)
                words = (f"{fault.message} The roster in force stands in its place.",)
                digest = check.roster.digest if check.roster else accepted.digest
                await kept.keep(pair, RosterRevision(0, self._clock.now(), "gateway", "mended", words, digest))

    # --- what stands there now ---

    async def _newest(self, kept: KeptRosters, edits: Sequence[RosterEdit]) -> tuple[RosterRevision, RosterPair] | None:
        """Whole files may take the place of damaged ones."""
        try:
            return await kept.newest()
        except StoreDamaged:
            if all(isinstance(each, PutFiles) for each in edits):
                return None
            raise

    def _words(self, before: Roster | None, after: Roster) -> tuple[str, ...]:
        """What changes, by the names that outputs have now: another name of the same output is no change."""
        return roster_changes(self._as_called(before) if before else None, self._as_called(after), self._zone)

    def _as_called(self, roster: Roster) -> Roster:
        groups = {name: rights_now(rights, self._receivers) for name, rights in roster.groups.items()}
        entries = (replace(each, rights=rights_now(each.rights, self._receivers)) for each in roster.entries)
        return replace(roster, groups=groups, entries=tuple(entries))

    def _need(self) -> KeptRosters:
        if self._kept is None:
            place = self._rosters.state().place
            raise Refused(
                f"The roster of this site is not kept here; it comes from {place}.",
                remedy='Edit it there. To keep it here, set source = "local" in the settings, then import its files.',
                code="roster-elsewhere",
            )
        return self._kept

    async def _roster_of(self, found: tuple[RosterRevision, RosterPair] | None) -> Roster | None:
        """The newest roster as it is read with today's settings; kept in memory until another one comes."""
        if found is None:
            return None
        revision, pair = found
        if self._read[0] != revision.digest:
            self._read = (revision.digest, (await self._check(pair)).roster)
        return self._read[1]

    async def _as_kept(self, pair: RosterPair, old: RosterPair | None) -> tuple[RosterPair, RosterCheck]:
        """The files in the form in which they are kept, and what is found in them as they came.

        What is wrong in a workbook is told with its own rows and sheets; a good one is kept as text.
        """
        check = await self._check(pair)
        text = pair if check.roster is None else await asyncio.to_thread(self._editor.text_form, pair, old)
        if text is pair:
            return pair, check
        return text, replace(await self._check(text), warnings=check.warnings)

    async def _check(self, pair: RosterPair) -> RosterCheck:
        """In a thread: thousands of rows take long enough to make a line late."""
        return await asyncio.to_thread(self._reader.check, pair.roster, pair.groups, self._receivers)


def _tag(subject: str, found: tuple[RosterRevision, RosterPair] | None, roster: Roster | None) -> str:
    """A digest of what the subject is now; empty when it isn't there."""
    kind, _, name = subject.partition(" ")
    if kind == "files":
        return found[0].digest[:24] if found else ""
    if roster is None:
        return ""
    content: object = None
    if kind == "row":
        entry = next((each for each in roster.entries if write_serial(each.serial) == name), None)
        own = () if entry is None or entry.group else entry.rights
        content = entry and (entry.holder, entry.kind, entry.group, own, entry.sites, str(entry.valid_from),
                             str(entry.valid_until), entry.note)  # fmt: skip
    elif kind == "group":
        content = next((rights for key, rights in roster.groups.items() if key.casefold() == name.casefold()), None)
    return "" if content is None else hashlib.sha256(f"{subject}\0{content!r}".encode()).hexdigest()[:24]


def _nothing() -> NotFound:
    return NotFound(
        "Nobody is in the roster that this gateway keeps.", remedy="Add people, import files, or read the receivers."
    )
