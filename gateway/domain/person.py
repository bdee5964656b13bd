"""A person as the gateway knows them: what each transmitter does where, since when, until when, and its last press.

A person is a holder of the roster, or a transmitter that a receiver holds and the roster doesn't. Of the first a card
tells what the roster wants and what is proven; of the second only what the receivers hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from gateway.domain.transmitter import write_serial

__all__ = [
    "Card",
    "PeopleOrder",
    "PeopleQuery",
    "Person",
    "Place",
    "PlaceState",
    "Press",
    "Standing",
    "is_unnamed",
    "unnamed_holder",
]

_UNNAMED = "Unnamed "


def unnamed_holder(serial: int) -> str:
    """The holder of a transmitter whose person nobody has named yet."""
    return _UNNAMED + write_serial(serial)


def is_unnamed(holder: str, serial: int) -> bool:
    """Whether this holder is only a place for a name. Receivers keep no name for it."""
    return holder.casefold() == unnamed_holder(serial).casefold()


class Standing(StrEnum):
    """How a transmitter stands as a whole."""

    WORKS = "works"  # every place is proven in the receivers
    PENDING = "pending"  # something is still to be written
    UNKNOWN = "unknown"  # a receiver's memory hasn't been read
    NOT_YET = "not-yet"  # its first day is still to come
    ENDED = "ended"
    REVOKED = "revoked"
    NO_RIGHTS = "no-rights"  # the roster gives it nothing at this site
    UNLISTED = "unlisted"  # a receiver holds it, the roster doesn't


class PlaceState(StrEnum):
    """One position's outputs at one receiver."""

    WORKS = "works"  # the roster wants it and the receiver holds it
    COMING = "coming"  # the roster wants it, and it isn't written yet
    GOING = "going"  # the receiver holds it, and the roster doesn't want it (any more)
    UNKNOWN = "unknown"  # the receiver's memory hasn't been read


@dataclass(frozen=True, slots=True)
class Place:
    """What a position works. `position` is the label of the transmitter's kind; `since` is when the receiver was first
    seen to hold this transmitter as it is, None when that is longer ago than the journal goes."""

    receiver: str
    position: str
    outputs: tuple[int, ...]
    output_names: tuple[str, ...]
    state: PlaceState
    sentence: str
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Press:
    """The newest press of a transmitter that is kept."""

    time: datetime
    receiver: str
    position: str
    known: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class Card:
    """One transmitter. What only the roster has is empty for one that it doesn't list.

    `kept_names` are the names that receivers keep for it, by receiver.
    """

    serial: int
    holder: str
    listed: bool
    unnamed: bool
    kind: str
    group: str
    rights: tuple[str, ...]
    sites: tuple[str, ...]
    valid_from: date | datetime | None
    valid_until: date | datetime | None
    note: str
    standing: Standing
    sentence: str
    places: tuple[Place, ...]
    last_heard: Press | None
    kept_names: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Person:
    """A holder with every transmitter; the first one's serial names the person. `holder` is empty for a transmitter
    that the roster doesn't list and no receiver has a name for."""

    holder: str
    cards: tuple[Card, ...]

    @property
    def serial(self) -> int:
        """The transmitter that names this person."""
        return self.cards[0].serial


class PeopleOrder(StrEnum):
    """Who comes first."""

    HOLDER = "holder"  # by name, numbers in it by their size
    SERIAL = "serial"  # by the lowest serial
    HEARD = "heard"  # whoever was heard last
    ENDING = "ending"  # whoever ends first; without a date at the end


@dataclass(frozen=True, slots=True)
class PeopleQuery:
    """Which people. Every word of `text` is found in the holder or in a serial; empty fields ask for nothing.

    `order` is by holder unless something else is asked for.
    """

    text: str = ""
    group: str = ""
    receiver: str = ""
    standing: Standing | None = None
    unnamed: bool | None = None
    listed: bool | None = None
    order: PeopleOrder = PeopleOrder.HOLDER
