"""Who had access to what on a day: what memories were proven to hold, and beside it what rosters only wanted.

A day is the site's own, with 23 to 25 hours. What a memory held comes from the record that is written with every
mirror. A row of a roster that no memory held that day is shown apart and never as access. Times in which nobody
watched a receiver are told with the answer, and so is where the record begins.
"""

from __future__ import annotations

import asyncio
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from gateway.archive.history_words import (
    memory_rights,
    rights_words,
    roster_rights,
    subject,
    validity_words,
    within_words,
)
from gateway.domain.gate import Gate
from gateway.domain.history import (
    AccessDay,
    AccessRight,
    AccessRow,
    MemorySpan,
    Moment,
    ReceiverDay,
    RosterLine,
    RosterSpan,
)
from gateway.errors import NotFound
from gateway.ports import History, Period, Receipts, ReceiverFacts

__all__ = ["AccessReader", "day_of"]


def day_of(day: date, zone: ZoneInfo) -> Period:
    """From the day's first moment to the next day's, in the site's zone."""
    begin = datetime.combine(day, time(0), zone)
    end = (
        datetime.max.replace(tzinfo=UTC)
        if day == date.max
        else datetime.combine(day + timedelta(days=1), time(0), zone)
    )
    return Period(begin.astimezone(UTC), end.astimezone(UTC))


@dataclass(frozen=True, slots=True)
class _Place:
    """A receiver, and the outputs of it that are asked for; None: all."""

    facts: ReceiverFacts
    outputs: frozenset[str] | None = None

    def kept(self, rights: tuple[AccessRight, ...]) -> tuple[AccessRight, ...]:
        """The rights that touch what is asked for."""
        if self.outputs is None:
            return rights
        found = []
        for right in rights:
            outputs = tuple(name for name in right.outputs if self._names(name) in self.outputs)
            if outputs:
                found.append(AccessRight(right.position, outputs))
        return tuple(found)

    def _names(self, output: str) -> str:
        number = self.facts.output_number(output.removeprefix("output "))
        return str(number) if number is not None else output


class AccessReader:
    """Answers for one day; `gates` are by name. Sentences of thousands of people are made in a thread."""

    def __init__(
        self,
        *,
        history: History,
        receipts: Receipts,
        facts: Sequence[ReceiverFacts],
        gates: Mapping[str, Gate],
        site: str,
        zone: ZoneInfo,
    ) -> None:
        self._history = history
        self._receipts = receipts
        self._facts = facts
        self._gates = gates
        self._site = site
        self._zone = zone

    async def on(self, day: date, *, receiver: str | None = None, gate: str | None = None) -> AccessDay:
        """Raises NotFound for a receiver or gate that the settings don't have."""
        places = self._places(receiver, gate)
        period = day_of(day, self._zone)
        rosters = [span for span in await self._history.roster(period) if self._is_here(span.line)]
        since = await self._history.recorded_since()
        rows: list[AccessRow] = []
        days: list[ReceiverDay] = []
        for place in places:
            name = place.facts.name
            spans = await self._history.memory(period, receiver=name)
            rows += _together(await asyncio.to_thread(self._held, place, spans, rosters, period))
            rows += await asyncio.to_thread(self._only_wanted, place, spans, rosters, period)
            days.append(await self._receiver_day(name, since.get(name), period))
        return AccessDay(
            day=day,
            zone=self._zone.key,
            begin=period.begin,
            end=period.end,
            receivers=tuple(days),
            rows=tuple(rows),
            rosters_since=await self._history.rosters_since(),
        )

    def _places(self, receiver: str | None, gate: str | None) -> list[_Place]:
        if gate is not None:
            if gate not in self._gates:
                known = ", ".join(self._gates) or "none"
                raise NotFound(f"There is no gate {gate}.", remedy=f"The settings name: {known}.")
            wanted = self._gates[gate]
            outputs = frozenset(str(number) for number in wanted.outputs)
            found = [_Place(facts, outputs) for facts in self._facts if facts.name == wanted.receiver]
            return [place for place in found if receiver in (None, place.facts.name)]
        found = [_Place(facts) for facts in self._facts if receiver in (None, facts.name)]
        if receiver is not None and not found:
            known = ", ".join(facts.name for facts in self._facts) or "none"
            raise NotFound(f"There is no receiver {receiver}.", remedy=f"The settings name: {known}.")
        return found

    def _is_here(self, line: RosterLine) -> bool:
        return not line.sites or self._site.casefold() in (name.casefold() for name in line.sites)

    def _held(
        self, place: _Place, spans: Sequence[MemorySpan], rosters: Sequence[RosterSpan], period: Period
    ) -> list[AccessRow]:
        rows = []
        by_serial: defaultdict[int, list[RosterSpan]] = defaultdict(list)
        for roster in rosters:
            by_serial[roster.line.serial].append(roster)
        for span in spans:
            line = _line_at(by_serial[span.serial], span, period)
            rights = place.kept(memory_rights(span, line, place.facts))
            if not rights:
                continue
            certain = _is_within(span.first, span.last, period)
            part = within_words(span.first, span.last, period, self._zone)
            doubt = "" if certain else " (perhaps not on this day)"
            by_hand = " (written down by hand, not proven)" if span.by_hand else ""
            holder = line.holder if line else ""
            words = f"{subject(holder, span.name, span.serial)}: {rights_words(rights)}; {part}{doubt}{by_hand}"
            basis = "by-hand" if span.by_hand else "memory"
            rows.append(
                AccessRow(
                    place.facts.name, span.serial, holder or span.name, span.slot, rights, basis, certain,
                    span.first, span.last, words,
                )
            )  # fmt: skip
        return rows

    def _only_wanted(
        self, place: _Place, spans: Sequence[MemorySpan], rosters: Sequence[RosterSpan], period: Period
    ) -> list[AccessRow]:
        held = {span.serial for span in spans}
        rows = []
        for roster in rosters:
            line = roster.line
            rights = place.kept(roster_rights(line, place.facts.name, place.facts))
            if not rights or line.serial in held:
                continue
            first, last = roster.first.accepted, roster.last.accepted if roster.last else None
            part = within_words(first, last, period, self._zone)
            dates = f"; {validity_words(line)}" if validity_words(line) else ""
            words = (
                f"{subject(line.holder, '', line.serial)}: on the roster {part} ({rights_words(rights)}"
                f"{dates}), and not in the receiver's memory"
            )
            rows.append(
                AccessRow(
                    place.facts.name, line.serial, line.holder, None, rights, "roster",
                    _is_within(first, last, period), first, last, words,
                )
            )  # fmt: skip
        return rows

    async def _receiver_day(self, name: str, since: Moment | None, period: Period) -> ReceiverDay:
        receipt = await self._receipts.last_before(name, period.end)
        clock = receipt.document["receipt"]["clock"]["time"] if receipt else None
        return ReceiverDay(
            receiver=name,
            recorded=since is not None and since.may_be_before(period.end),
            recorded_since=since,
            gaps=await self._history.gaps(name, period),
            receipt=receipt.id if receipt else "",
            receipt_time=datetime.fromisoformat(clock) if clock else None,
        )


def _together(rows: Sequence[AccessRow]) -> list[AccessRow]:
    """In the order of the slots, but all of one transmitter beside each other: it may have moved within the day."""
    places: dict[int, int] = {}
    for place, row in enumerate(rows):
        places.setdefault(row.serial, place)
    return sorted(rows, key=lambda row: places[row.serial])


def _line_at(mine: Sequence[RosterSpan], span: MemorySpan, period: Period) -> RosterLine | None:
    """Of a transmitter's rows the one in force when the span began, or when the day did; else the first of that day."""
    begin = max(span.first.at or period.begin, period.begin)
    in_force = [row for row in mine if row.first.accepted.at is None or row.first.accepted.at <= begin]
    found = in_force[-1:] or list(mine[:1])
    return found[0].line if found else None


def _is_within(first: Moment, last: Moment | None, period: Period) -> bool:
    """Whether it certainly touched the period: it had begun before its end, and ended after its beginning."""
    begun = first.is_before(period.end)
    return begun and (last is None or not last.may_be_before(period.begin + timedelta(microseconds=1)))
