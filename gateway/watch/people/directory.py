"""Everybody: the holders of the roster in force, and transmitters that receivers hold and the roster doesn't list.

`ports.People`, for any source of the roster. Whom there is to find is put together once for each roster and state of
the memories; cards are made for those that are shown.
"""

from __future__ import annotations

import asyncio
import re
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial

from gateway.clock import Clock
from gateway.domain.person import Card, PeopleOrder, PeopleQuery, Person
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.errors import NotFound
from gateway.ports import Journal, Mirrors, ReceiverFacts, Trust
from gateway.watch.conditions.premises import Premises
from gateway.watch.people.cards import CardMaker, kept_names
from gateway.watch.people.placing import Held
from gateway.watch.people.recollection import Recollection

__all__ = ["Directory"]

_LAST = 10**15 - 1  # in milliseconds: after every press there can be
_NEVER = "9999-12-31T24:00:01"
_KEY_LETTERS = 40  # of a name in the order of people, so that a place in the list stays short


@dataclass(frozen=True, slots=True)
class _Known:
    """One person before their card is made. `key` is their place in the order, `text` what a search looks in."""

    key: str
    holder: str
    serials: tuple[int, ...]
    text: str


@dataclass(frozen=True)
class _Everybody:
    """All that doesn't change while roster and memories stay the same."""

    stamp: object
    entries: Mapping[int, Entry]
    kinds: Mapping[str, Kind]
    held: Sequence[Held]
    people: Sequence[_Known]
    by_serial: Mapping[int, _Known]


class Directory:
    """Looks people up. `receivers` are those that keep transmitters; `roster` is the one in force."""

    def __init__(
        self,
        premises: Premises,
        *,
        site: str,
        receivers: Sequence[ReceiverFacts],
        journal: Journal,
        mirrors: Mirrors,
        clock: Clock,
        trust: Trust,
        roster: Callable[[], Roster | None],
        revoked: Callable[[], Mapping[int, Revocation]],
        keep_heard: timedelta,
    ) -> None:
        self._receivers = receivers
        self._mirrors = mirrors
        self._clock = clock
        self._roster = roster
        self._zone = premises.zone
        self._recollection = Recollection(journal, keep_heard)
        self._cards = CardMaker(
            premises, site=site, clock=clock, trust=trust, revoked=revoked, recollection=self._recollection
        )
        self._everybody: _Everybody | None = None

    def forget(self, serials: Collection[int]) -> None:
        """These transmitters' presses are kept no longer."""
        self._recollection.forget(serials)

    async def find(
        self, query: PeopleQuery, *, after: str = "", limit: int = 100
    ) -> tuple[tuple[Person, ...], int, str]:
        """Raises StoreUnavailable. The work is done in a thread: thousands of cards would make a line late."""
        await self._recollection.refresh()
        return await asyncio.to_thread(self._find, query, after, limit)

    def _find(self, query: PeopleQuery, after: str, limit: int) -> tuple[tuple[Person, ...], int, str]:
        everybody = self._now()
        found = [known for known in everybody.people if _matches(known, query.text)]
        places: Mapping[PeopleOrder, Callable[[_Known], str]] = {
            PeopleOrder.SERIAL: self._by_serial,
            PeopleOrder.HEARD: self._by_press,
            PeopleOrder.ENDING: partial(self._by_end, everybody),
        }
        if (place := places.get(query.order)) is not None:
            moved = (replace(known, key=f"{place(known)}\n{known.key}") for known in found)
            found = sorted(moved, key=lambda known: known.key)
        if query != PeopleQuery(query.text, order=query.order):
            made = [(known, self._person(everybody, known)) for known in found]
            found = [known for known, person in made if any(_fits(card, query) for card in person.cards)]
        begin = bisect_right(found, after, key=lambda known: known.key) if after else 0
        page = found[begin : begin + limit]
        more = begin + len(page) < len(found)
        people = tuple(self._person(everybody, known) for known in page)
        return people, len(found), page[-1].key if more else ""

    def _by_serial(self, known: _Known) -> str:
        """The lowest serial."""
        return write_serial(min(known.serials))

    def _by_end(self, everybody: _Everybody, known: _Known) -> str:
        """The first moment at which one of their transmitters ends, on the site's clock; without a date comes last."""
        entries = (everybody.entries.get(serial) for serial in known.serials)
        ends = (self._end(entry.valid_until) for entry in entries if entry and entry.valid_until)
        return min(ends, default=_NEVER)

    def _end(self, until: date | datetime) -> str:
        if isinstance(until, datetime):
            return until.astimezone(self._zone).strftime("%Y-%m-%dT%H:%M:%S")
        return f"{until.isoformat()}T24:00:00"  # the last day still counts

    def _by_press(self, known: _Known) -> str:
        """The newest press; never heard comes last."""
        now = self._clock.now()
        presses = (self._recollection.last_heard(serial, now) for serial in known.serials)
        newest = max((press.time.timestamp() for press in presses if press), default=0.0)
        return f"{_LAST - int(newest * 1000):015d}"

    async def card(self, serial: int) -> Person:
        """Raises NotFound, StoreUnavailable."""
        await self._recollection.refresh()
        everybody = self._now()
        known = everybody.by_serial.get(serial)
        if known is None:
            heard = self._recollection.last_heard(serial, self._clock.now())
            where = f" {heard.receiver} heard it and did not know it." if heard else ""
            raise NotFound(
                f"Nobody here carries this transmitter, by roster or by receiver.{where}",
                remedy="Read its ten digits again, or add it to the roster.",
            )
        return self._person(everybody, known)

    # --- everybody ---

    def _now(self) -> _Everybody:
        roster = self._roster()
        mirrors = {facts.name: self._mirrors.load(facts.name) for facts in self._receivers}
        read = tuple((m.receiver, m.identity.serial, m.revision, len(m.slots)) for m in mirrors.values() if m)
        stamp = (roster.digest if roster else "", read)
        if self._everybody is None or self._everybody.stamp != stamp:
            held = [Held.of(facts, mirrors[facts.name]) for facts in self._receivers]
            self._everybody = _gather(stamp, roster, held)
        return self._everybody

    def _person(self, everybody: _Everybody, known: _Known) -> Person:
        return Person(known.holder, tuple(self._card(everybody, known, serial) for serial in known.serials))

    def _card(self, everybody: _Everybody, known: _Known, serial: int) -> Card:
        entry = everybody.entries.get(serial)
        return self._cards.card(serial, known.holder, entry, everybody.kinds, everybody.held)


def _gather(stamp: object, roster: Roster | None, held: Sequence[Held]) -> _Everybody:
    entries = roster.by_serial() if roster else {}
    holders: defaultdict[str, list[Entry]] = defaultdict(list)
    for entry in roster.entries if roster else ():
        holders[entry.holder.casefold()].append(entry)
    people = [_known(rows[0].holder, tuple(row.serial for row in rows)) for rows in holders.values()]
    unlisted = {serial for each in held for serial in each.slots or ()} - entries.keys()
    for serial in unlisted:
        names = dict.fromkeys(name for _, name in kept_names(held, serial))
        people.append(_known(next(iter(names), ""), (serial,)))
    people.sort(key=lambda known: known.key)
    by_serial = {serial: known for known in people for serial in known.serials}
    return _Everybody(stamp, entries, roster.kinds if roster else BUILT_IN_KINDS, held, people, by_serial)


def _known(holder: str, serials: tuple[int, ...]) -> _Known:
    folded = holder.casefold()
    written = [write_serial(serial) for serial in serials]
    key = f"{_in_order(folded[:_KEY_LETTERS])}\n{written[0]}"
    return _Known(key, holder, serials, " ".join((folded, *written)))


def _in_order(name: str) -> str:
    """The name with its numbers padded, so that Berth 2 comes before Berth 10."""
    return re.sub(r"[0-9]+", lambda number: number[0].lstrip("0").zfill(8), name)


def _matches(known: _Known, text: str) -> bool:
    return all(word in known.text for word in text.casefold().split())


def _fits(card: Card, query: PeopleQuery) -> bool:
    return (
        (not query.group or card.group.casefold() == query.group.casefold())
        and (not query.receiver or any(place.receiver == query.receiver for place in card.places))
        and query.standing in (None, card.standing)
        and query.unnamed in (None, card.unnamed)
        and query.listed in (None, card.listed)
    )
