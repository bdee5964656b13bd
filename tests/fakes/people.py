"""People as the API sees them, set by the test."""

from __future__ import annotations

from gateway.domain.person import Card, PeopleQuery, Person, Standing
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound

__all__ = ["FakePeople", "some_person"]


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
