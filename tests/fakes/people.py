"""People as the API sees them, set by the test."""

from __future__ import annotations

from collections.abc import Sequence

from gateway.domain.person import Card, PeopleQuery, Person, Standing
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import Basis, EditOutcome, FirstRoster, RosterEdit, RosterPair, RosterRevision

__all__ = ["FakePeople", "NoFirstRosters", "NoOwnRoster", "some_person"]


def some_person(serial: int = 48231907, holder: str = "Berth 12") -> Person:
    """A person with one transmitter and no rights."""
    card = Card(
        serial=serial, holder=holder, listed=True, unnamed=False, kind="any", group="", rights=(), sites=(),
        valid_from=None, valid_until=None, note="", standing=Standing.NO_RIGHTS, sentence="", places=(),
        last_heard=None,
    )  # fmt: skip
    return Person(holder, (card,))


class FakePeople:
    """`ports.People`."""

    def __init__(self, *people: Person) -> None:
        self.kept = list(people)
        self.asked: list[PeopleQuery] = []

    async def find(
        self, query: PeopleQuery, *, after: str = "", limit: int = 100
    ) -> tuple[tuple[Person, ...], int, str]:
        self.asked.append(query)
        rest = [person for person in self.kept if write_serial(person.serial) > after]
        page = rest[:limit]
        return tuple(page), len(self.kept), write_serial(page[-1].serial) if len(page) < len(rest) else ""

    async def card(self, serial: int) -> Person:
        for person in self.kept:
            if any(card.serial == serial for card in person.cards):
                return person
        raise NotFound("Nobody here carries this transmitter.", remedy="Read its ten digits again.")


class NoOwnRoster:
    """`ports.OwnRoster` of a site whose roster is kept elsewhere."""

    ours = False

    async def tag(self, subject: str) -> str:
        raise _elsewhere()

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
        raise _elsewhere()

    async def files(self, number: int = 0) -> tuple[RosterRevision, RosterPair]:
        raise _elsewhere()

    async def book(self, form: str, number: int = 0) -> tuple[RosterRevision, bytes]:
        raise _elsewhere()

    async def revisions(self, *, before: int = 0, limit: int = 100) -> tuple[RosterRevision, ...]:
        raise _elsewhere()


class NoFirstRosters:
    """`ports.FirstRosters` of receivers that hold nothing."""

    async def read(self, receivers: Sequence[str] = ()) -> FirstRoster:
        raise Refused("They hold nothing.", remedy="Begin with the template.", code="nothing-held")

    async def keep(self, first: FirstRoster, *, who: str) -> EditOutcome:
        raise _elsewhere()


def _elsewhere() -> Refused:
    return Refused("The roster is kept elsewhere.", remedy="Edit it there.", code="roster-elsewhere")
