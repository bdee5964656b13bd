"""Calling outputs otherwise, without changing what any receiver does.

What is asked for is checked as a whole: names that rosters can have, no two alike, and the roster in force says the
same afterwards. It is durable in the ledger before it is in force, so that a roster which uses a new name is read
after a lost database too.

A name that an output had before is still read as that output, rather than refusing the change while a roster uses it:
the central file lies elsewhere, and its author can only write the new name once it is in force. What is refused is a
name by which the roster in force writes another output: that would give people another gate.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from gateway.domain.events import EventDraft, EventName
from gateway.domain.output_names import OutputNames, OutputNaming, names_in_force, renamed, tidy_name, unfit_name
from gateway.domain.roster import Right, Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import Refused
from gateway.ports import Commit, Journal, NamedOutput, NameLedger
from gateway.sync.drafting import RosterInForce
from gateway.sync.naming import NamesNow
from gateway.sync.site import Site

__all__ = ["NamingDesk"]

_MOST_PLACES = 5  # of a roster, in one sentence
_SHOWN = 40  # characters of a name that is refused


class NamingDesk:
    """`ports.OutputNameDesk`. `counts` says how many outputs a receiver has."""

    def __init__(
        self,
        *,
        site: Site,
        names: NamesNow,
        counts: Callable[[str], int],
        ledger: NameLedger,
        journal: Journal,
        rosters: RosterInForce,
    ) -> None:
        self._site = site
        self._names = names
        self._counts = counts
        self._ledger = ledger
        self._journal = journal
        self._rosters = rosters
        self._lock = asyncio.Lock()

    def names(self, receiver: str) -> tuple[NamedOutput, ...]:
        self._site.receiver(receiver)
        return self._listed(receiver)

    async def rename(
        self,
        receiver: str,
        wanted: Mapping[int, str],
        *,
        asked_by: str,
        basis: Callable[[Sequence[NamedOutput]], None] | None = None,
    ) -> tuple[tuple[NamedOutput, ...], tuple[NamedOutput, ...]]:
        self._site.receiver(receiver)
        if not wanted:
            raise Refused("Nothing was asked for.", remedy="Name at least one output.", code="nothing-asked")
        async with self._lock:
            tidy = {number: tidy_name(name) for number, name in wanted.items()}
            self._check(receiver, tidy)
            before = self._listed(receiver)
            if basis is not None:
                basis(before)
            roster = self._rosters.in_force.roster if self._rosters.in_force else None
            of_settings, old = self._names.of_settings[receiver], self._names.naming(receiver)
            new = renamed(of_settings, old, tidy, _texts(roster, receiver))
            self._check_roster(receiver, new, roster)
            if new != old:
                await self._ledger.keep_naming(new)
                self._names.take(new)
            after = self._listed(receiver)
            if changes := list(_changes(before, after)):
                data = {"output_names": changes, "asked_by": asked_by}
                await self._journal.commit(Commit(events=(EventDraft(EventName.SETTINGS_CHANGED, receiver, data),)))
        return before, after

    def _listed(self, receiver: str) -> tuple[NamedOutput, ...]:
        of_settings, now = self._names.of_settings[receiver], self._names.now(receiver).outputs
        former: dict[int, list[str]] = {}
        for each in self._names.naming(receiver).former:
            if not _same(each.name, of_settings.get(each.output, "")):
                former.setdefault(each.output, []).append(each.name)
        last = max(self._counts(receiver), *of_settings, *now, 0)
        return tuple(
            NamedOutput(number, of_settings.get(number, ""), now.get(number, ""), tuple(former.get(number, ())))
            for number in range(1, last + 1)
        )

    # --- what is refused ---

    def _check(self, receiver: str, wanted: Mapping[int, str]) -> None:
        """Numbers, letters, and no two alike."""
        known = self._listed(receiver)
        for number, name in wanted.items():
            if not 1 <= number <= len(known):
                raise Refused(
                    f"{receiver} has no output {number}.",
                    remedy=f"Its outputs are numbered from 1 to {len(known)}.",
                    code="no-such-output",
                )
            if name and (why := unfit_name(name)):
                raise Refused(
                    f"Output {number} of {receiver} can't be called {_shown(name)}: {why}.",
                    remedy="Write for example gate or boat-hoist; an empty name goes back to the settings file's.",
                    code="output-name-unfit",
                )
        called = {each.number: each.in_use for each in known}
        called |= {number: name or known[number - 1].in_settings for number, name in wanted.items()}
        for number in wanted:
            other = next(
                (each for each, name in called.items() if each != number and _same(name, called[number])), None
            )
            if other is not None:
                raise Refused(
                    f"Output {number} of {receiver} can't be called “{called[number]}”: output {other} is called so.",
                    remedy="Choose another name, or give that output another one in the same change.",
                    code="output-name-taken",
                )

    def _check_roster(self, receiver: str, new: OutputNaming, roster: Roster | None) -> None:
        """The roster in force has to say afterwards what it says now."""
        before, after = self._names.now(receiver), names_in_force(self._names.of_settings[receiver], new)
        for text in sorted(_texts(roster, receiver)):
            meant, means = _number(before, text), _number(after, text)
            if roster is None or meant is None or means == meant:
                continue
            name, where = after.outputs.get(means or 0, text), _joined(_places(roster, receiver, text))
            now = before.outputs.get(meant, "")
            raise Refused(
                f"Output {means} of {receiver} can't be called “{name}”: the roster in force writes output {meant} so, "
                f"and those people would work output {means} instead ({where}).",
                remedy=f"Write output {meant} in the roster as {f'“{now}”' if now and not _same(now, text) else meant} "
                "first, or choose another name.",
                code="output-name-in-roster",
            )


def _number(names: OutputNames, folded: str) -> int | None:
    """As `ReceiverFacts.output_number`, for what is no number."""
    for number, name in names.outputs.items():
        if name.casefold() == folded:
            return number
    return names.also.get(folded)


def _same(one: str, other: str) -> bool:
    return bool(one) and one.casefold() == other.casefold()


def _texts(roster: Roster | None, receiver: str) -> frozenset[str]:
    """Every text by which the roster writes an output of this receiver, in folded letters."""
    if roster is None:
        return frozenset()
    listed = (rights for _, rights in _all_rights(roster))
    return frozenset(
        right.output.casefold() for rights in listed for right in rights if _same(right.receiver, receiver)
    )


def _all_rights(roster: Roster) -> Iterator[tuple[str, Iterable[Right]]]:
    """Rights, and where they stand in words."""
    yield from ((f"group {name}", rights) for name, rights in roster.groups.items())
    for entry in roster.entries:
        if not entry.group:
            serial = write_serial(entry.serial)
            yield (f"row {entry.row}" if entry.row else f"the local override of {serial}"), entry.rights


def _places(roster: Roster, receiver: str, text: str) -> list[str]:
    return [
        place
        for place, rights in _all_rights(roster)
        if any(_same(right.receiver, receiver) and right.output.casefold() == text for right in rights)
    ]


def _changes(before: Iterable[NamedOutput], after: Iterable[NamedOutput]) -> Iterator[dict[str, object]]:
    for old, new in zip(before, after, strict=True):
        if old.in_use != new.in_use:
            yield {"output": new.number, "before": old.in_use, "after": new.in_use}


def _shown(name: str) -> str:
    short = name if len(name) <= _SHOWN else f"{name[:_SHOWN]}…"
    return "“" + "".join(letter if letter.isprintable() else f"<U+{ord(letter):04X}>" for letter in short) + "”"


def _joined(places: list[str]) -> str:
    more = [f"{len(places) - _MOST_PLACES} more"] if len(places) > _MOST_PLACES else []
    return ", ".join(places[:_MOST_PLACES] + more)
