"""Cards: one transmitter with all that is known of it, in sentences.

It asks nothing of the line or the store; roster row, memories and presses are given to it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from gateway.clock import Clock
from gateway.domain.person import Card, Place, PlaceState, Press, Standing, is_unnamed
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.domain.validity import Validity, validity
from gateway.ports import Trust, rights_now
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.words import since_words
from gateway.watch.people.placing import Held, Spot, places_of, wanted_pairs
from gateway.watch.people.recollection import Recollection

__all__ = ["CardMaker", "Subject", "kept_names"]


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose card it is. `entry` is None when the roster doesn't list the transmitter; `holder` is then what a receiver
    calls it, or empty."""

    serial: int
    holder: str
    entry: Entry | None
    kind: Kind | None
    valid: Validity | None
    revoked: Revocation | None


class CardMaker:
    """Makes cards at this moment."""

    def __init__(
        self,
        premises: Premises,
        *,
        site: str,
        clock: Clock,
        trust: Trust,
        revoked: Callable[[], Mapping[int, Revocation]],
        recollection: Recollection,
    ) -> None:
        self._premises = premises
        self._site = site
        self._clock = clock
        self._trust = trust
        self._revoked = revoked
        self._recollection = recollection

    def card(
        self, serial: int, holder: str, entry: Entry | None, kinds: Mapping[str, Kind], held: Sequence[Held]
    ) -> Card:
        """One card. `holder` is used where the roster has none."""
        now = self._clock.now()
        valid = validity(entry, now, self._premises.zone, trusted=self._trust.trusted) if entry else None
        kind = kinds.get(entry.kind) if entry else None
        subject = Subject(serial, holder, entry, kind, valid, self._revoked().get(serial))
        places = places_of(serial, kind, [self._spot(each, subject) for each in held], self._premises)
        standing = _standing(subject, places)
        shown = entry or Entry(0, serial, holder)
        return Card(
            serial=serial,
            holder=shown.holder,
            listed=entry is not None,
            unnamed=is_unnamed(shown.holder, serial) or not shown.holder,
            kind=shown.kind,
            group=shown.group,
            rights=tuple(
                f"{right.position}:{right.receiver}/{right.output}"
                for right in rights_now(shown.rights, (each.facts for each in held))
            ),
            sites=shown.sites,
            valid_from=shown.valid_from,
            valid_until=shown.valid_until,
            note=shown.note,
            standing=standing,
            sentence=self._sentence(standing, shown, places, subject.revoked),
            places=places,
            last_heard=self._press(serial, shown, now),
            kept_names=kept_names(held, serial),
        )

    def _spot(self, held: Held, subject: Subject) -> Spot:
        since = self._recollection.since(held.facts.name, subject.serial)
        entry = subject.entry
        if subject.revoked is not None:
            return Spot(held, frozenset(), since)
        if entry is None or subject.valid is Validity.UNKNOWN:
            return Spot(held, None, since)
        here = not entry.sites or self._site.casefold() in (site.casefold() for site in entry.sites)
        if not here or subject.valid is not Validity.NOW:
            return Spot(held, frozenset(), since)
        return Spot(held, wanted_pairs(entry, subject.kind or BUILT_IN_KINDS["any"], held), since)

    def _press(self, serial: int, entry: Entry, now: datetime) -> Press | None:
        heard = self._recollection.last_heard(serial, now)
        if heard is None:
            return None
        where = _gate_or_receiver(self._premises, heard.receiver)
        when = since_words(heard.time, now, self._premises.zone)
        who = "Unnamed, last" if is_unnamed(entry.holder, serial) or not entry.holder else "Last"
        unknown = "" if heard.known else "; the receiver did not know it"
        sentence = f"{who} heard at {where} {when}, position {heard.position}{unknown}."
        return Press(heard.time, heard.receiver, heard.position, heard.known, sentence)

    def _sentence(self, standing: Standing, entry: Entry, places: Sequence[Place], revoked: Revocation | None) -> str:
        held = any(place.state in (PlaceState.GOING, PlaceState.WORKS) for place in places)
        still = " A receiver still holds it." if held else " No receiver holds it any more."
        match standing:
            case Standing.REVOKED:
                day = since_words(revoked.time, self._clock.now(), self._premises.zone) if revoked else ""
                return f"Revoked {day}.{still}"
            case Standing.ENDED:
                return f"Ended after {_day(entry.valid_until)}.{still}"
            case Standing.NOT_YET:
                return f"Begins on {_day(entry.valid_from)}."
            case _:
                until = f", until {_day(entry.valid_until)}" if entry.valid_until else ""
                return _STANDING_WORDS[standing].format(until=until)


_STANDING_WORDS = {
    Standing.WORKS: "Works as the roster says{until}, proven.",
    Standing.PENDING: "Not all of it is written to the receivers yet{until}.",
    Standing.UNKNOWN: "A receiver's memory has not been read yet{until}.",
    Standing.NO_RIGHTS: "The roster gives it nothing here{until}.",
    Standing.UNLISTED: "A receiver holds it, and the roster does not list it.",
}


def _standing(subject: Subject, places: Sequence[Place]) -> Standing:
    if subject.revoked is not None:
        return Standing.REVOKED
    if subject.entry is None:
        return Standing.UNLISTED
    if subject.valid in _BY_DATE:
        return _BY_DATE[subject.valid]
    states = {place.state for place in places}
    if states & {PlaceState.COMING, PlaceState.GOING}:
        return Standing.PENDING
    if PlaceState.UNKNOWN in states:
        return Standing.UNKNOWN
    return Standing.WORKS if states else Standing.NO_RIGHTS


_BY_DATE: Mapping[Validity | None, Standing] = {Validity.OVER: Standing.ENDED, Validity.NOT_YET: Standing.NOT_YET}


def kept_names(held: Sequence[Held], serial: int) -> tuple[tuple[str, str], ...]:
    """The names that receivers keep for a transmitter, by receiver."""
    return tuple(
        (each.facts.name, slot.name) for each in held for slot in (each.slots or {}).get(serial, ()) if slot.name
    )


def _gate_or_receiver(premises: Premises, receiver: str) -> str:
    gates = [gate for gate in premises.gates if gate.receiver == receiver]
    return gates[0].title if len(gates) == 1 else receiver


def _day(value: date | datetime | None) -> str:
    return f"{value.day} {value:%B %Y}" if value else ""
