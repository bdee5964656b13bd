"""A first roster for a site already in use: every receiver is read and proven anew, and nothing is written to any.

All lines are read at once. A receiver that can't be read ends it: a roster without its people would take their access
away there.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Sequence

from gateway.errors import GatepostError, LineError, Refused
from gateway.ports import (
    EditOutcome,
    FirstRoster,
    Memory,
    MirrorKeeper,
    OwnRoster,
    PutFiles,
    RosterEditor,
    RosterReader,
)
from gateway.sync.site import Site

__all__ = ["FirstRosterDesk"]


class FirstRosterDesk:
    """`ports.FirstRosters`."""

    def __init__(
        self, *, site: Site, keeper: MirrorKeeper, editor: RosterEditor, reader: RosterReader, own: OwnRoster
    ) -> None:
        self._site = site
        self._keeper = keeper
        self._editor = editor
        self._reader = reader
        self._own = own

    async def read(self, receivers: Sequence[str] = ()) -> FirstRoster:
        names = dict.fromkeys(receivers or self._site.names_with_slots())
        memories = await self._memories(names)
        if not receivers:
            memories += [memory for name in self._site.names_by_hand() if (memory := await self._by_hand(name))]
        first = self._editor.first(memories)
        if not first.transmitters:
            raise Refused(
                "The receivers that were read hold no transmitter.",
                remedy="Nothing to take over: begin with the template, or add people one by one.",
                code="nothing-held",
            )
        check = self._reader.check(first.pair.roster, first.pair.groups, list(self._site.facts.values()))
        if check.faults:
            fault = check.faults[0]
            raise Refused(
                f"What the receivers hold can't be written as a roster: {fault.file}, row {fault.row}, {fault.column}: "
                f"{fault.found}.",
                remedy=f"Correct the settings' names of receivers and outputs: {fault.remedy}.",
                code="first-roster-faulty",
            )
        return first

    async def keep(self, first: FirstRoster, *, who: str) -> EditOutcome:
        def only_when_there_is_none(tag: str) -> None:
            if tag:
                raise Refused(
                    "This gateway keeps a roster already.",
                    remedy="Write the first roster to files instead, compare them, and import what you want.",
                    code="roster-exists",
                )

        return await self._own.edit(
            [PutFiles(first.pair)], who=who, how="from-receiver", subject="files", basis=only_when_there_is_none
        )

    async def _memories(self, names: Iterable[str]) -> list[Memory]:
        """Raises what the first of them in this order failed with, once all are done."""

        async def one(name: str) -> Memory | GatepostError:
            try:
                return await self._memory(name)
            except GatepostError as error:
                return error

        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(one(name), name=f"first roster: {name}") for name in names]
        memories: list[Memory] = []
        for task in tasks:
            found = task.result()
            if isinstance(found, GatepostError):
                raise found
            memories.append(found)
        return memories

    async def _by_hand(self, name: str) -> Memory | None:
        """What was entered and ticked where no line reaches; None while nobody has said what it holds."""
        try:
            return await self._memory(name)
        except Refused as unknown:
            if unknown.code != "holdings-unknown":
                raise
            return None

    async def _memory(self, name: str) -> Memory:
        receiver = self._site.planned(name)
        try:
            mirror = await self._keeper.refresh(name)
        except LineError as silent:
            remedy = f"{silent.remedy} Or name the receivers that are to be read."
            raise type(silent)(f"{name}: {silent.message}", remedy=remedy.lstrip(), code=silent.code) from silent
        slots = tuple(mirror.slots[number] for number in sorted(mirror.slots))
        return Memory(self._site.facts[name], mirror.limits, slots, receiver.kind_code, receiver.fit_name)
