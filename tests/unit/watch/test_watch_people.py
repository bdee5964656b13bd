"""Who works what where: what the roster wants beside what the receivers hold, for any source of the roster."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.events import EventDraft, EventName, Span
from gateway.domain.gate import Gate
from gateway.domain.mirror import Mirror
from gateway.domain.person import Card, PeopleOrder, PeopleQuery, PlaceState, Standing, unnamed_holder
from gateway.domain.receiver import Identity, Limits, Slot
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry, Right, Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound
from gateway.ports import Commit, ReceiverFacts
from gateway.watch.conditions import Premises
from gateway.watch.people import Directory
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.use_cases import FakeTrust

SLIP, PARK = "slip-gate", "car-park"
BERTH, OFFICE, CREW = 48_231_907, 48_231_911, 77
GATE = Right(SLIP, "1", "gate")
HOIST = Right(SLIP, "2", "2")
BARRIER = Right(PARK, "1", "barrier")


class Yard:
    """Two receivers and a directory over them."""

    def __init__(self, *entries: Entry) -> None:
        self.clock = FakeClock()
        self.store = MemoryStore(self.clock)
        self.trust = FakeTrust()
        self.entries: Sequence[Entry] = entries
        self.revoked: dict[int, Revocation] = {}
        facts = (ReceiverFacts(SLIP, {1: "gate", 2: ""}), ReceiverFacts(PARK, {1: "barrier"}))
        premises = Premises(gates=(Gate("slip", "Slip gate", SLIP, outputs=(1,)),), zone=ZoneInfo("UTC"))
        self.directory = Directory(
            premises, site="fennel-quay", receivers=facts, journal=self.store.journal, mirrors=self.store.mirrors,
            clock=self.clock, trust=self.trust,
            roster=lambda: Roster(tuple(self.entries), str(hash(tuple(self.entries)))) if self.entries else None,
            revoked=lambda: self.revoked, keep_heard=timedelta(days=90),
        )  # fmt: skip

    def hold(self, receiver: str, slots: Mapping[int, Slot], revision: int = 1) -> None:
        identity = Identity("Example", "Receiver", "1", f"V-{receiver}", "reference", 1)
        limits = Limits(outputs=2, inputs=2, slots=64, positions=8)
        self.store.mirrors.kept[receiver] = Mirror(receiver, identity, limits, revision, slots)

    async def press(self, serial: int, receiver: str = SLIP, *, known: bool = True, late: Span | None = None) -> None:
        data = {"serial": write_serial(serial), "position": "1", "known": known, "outputs": [1]}
        draft = EventDraft(EventName.TRANSMITTER_HEARD, receiver, data, late)
        await self.store.journal.commit(Commit(events=(draft,)))

    async def card(self, serial: int) -> Card:
        person = await self.directory.card(serial)
        return next(card for card in person.cards if card.serial == serial)


def slot(number: int, serial: int, *pairs: tuple[int, int], name: str = "") -> Slot:
    outputs = tuple(frozenset(out for place, out in pairs if place == position) for position in range(1, 9))
    return Slot(number, serial, 0, outputs, name)


async def test_what_is_wanted_and_held_works() -> None:
    """In words, by gate where a gate is meant, else by output; with what the receiver keeps as name."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE, HOIST), valid_until=date(2026, 10, 31)))
    yard.hold(SLIP, {1: slot(1, BERTH, (1, 1), (2, 2), name="Berth 12")})
    yard.hold(PARK, {})
    card = await yard.card(BERTH)
    assert [place.sentence for place in card.places] == [
        "Position 1 works Slip gate.",
        "Position 2 works output 2 of slip-gate.",
    ]
    assert card.standing is Standing.WORKS
    assert card.sentence == "Works as the roster says, until 31 October 2026, proven."
    assert card.kept_names == ((SLIP, "Berth 12"),)


async def test_of_two_slots_the_lower_one_works() -> None:
    """The other does nothing, and nothing is claimed of it."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,)))
    yard.hold(SLIP, {9: slot(9, BERTH, (2, 2)), 4: slot(4, BERTH, (1, 1))})
    yard.hold(PARK, {})
    card = await yard.card(BERTH)
    assert ([place.position for place in card.places], card.standing) == (["1"], Standing.WORKS)


async def test_differences_are_coming_and_going() -> None:
    """Until they are written, and until they are taken away."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE, BARRIER)))
    yard.hold(SLIP, {1: slot(1, BERTH, (3, 2))})
    yard.hold(PARK, {})
    card = await yard.card(BERTH)
    assert {(place.receiver, place.position, place.state) for place in card.places} == {
        (SLIP, "1", PlaceState.COMING),
        (SLIP, "3", PlaceState.GOING),
        (PARK, "1", PlaceState.COMING),
    }
    assert card.standing is Standing.PENDING


async def test_a_memory_that_was_not_read_is_said_to_be_unknown() -> None:
    """Nothing is claimed of it."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,)))
    card = await yard.card(BERTH)
    assert card.standing is Standing.UNKNOWN
    assert "has not been read" in card.places[0].sentence


@pytest.mark.parametrize(
    ("start", "end", "trusted", "standing"),
    [
        (None, date(2026, 3, 1), True, Standing.ENDED),
        (None, date(2026, 3, 2), True, Standing.WORKS),
        (date(2026, 3, 3), None, True, Standing.NOT_YET),
        (None, date(2026, 3, 1), False, Standing.WORKS),
        (datetime(2026, 3, 2, 8, 0, 1, tzinfo=UTC), None, True, Standing.NOT_YET),
    ],
)
async def test_dates(start: date | datetime | None, end: date | None, trusted: bool, standing: Standing) -> None:
    """Until a date means through its day; a clock that can't be believed decides nothing."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,), valid_from=start, valid_until=end))
    yard.trust.trusted = trusted
    yard.hold(SLIP, {1: slot(1, BERTH, (1, 1))})
    yard.hold(PARK, {})
    assert (await yard.card(BERTH)).standing is standing


async def test_revoked_beats_the_roster() -> None:
    """And says whether a receiver still holds it."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,)))
    yard.revoked[BERTH] = Revocation(BERTH, "token:1", "lost", yard.clock.now())
    yard.hold(SLIP, {1: slot(1, BERTH, (1, 1))})
    card = await yard.card(BERTH)
    assert (card.standing, card.places[0].state) == (Standing.REVOKED, PlaceState.GOING)
    assert card.sentence.endswith("A receiver still holds it.")
    yard.hold(SLIP, {}, revision=2)
    assert (await yard.card(BERTH)).sentence.endswith("No receiver holds it any more.")


async def test_what_the_roster_lacks_is_found_too() -> None:
    """Under the name that a receiver keeps, or without any."""
    yard = Yard()
    yard.hold(SLIP, {1: slot(1, CREW, (1, 1), name="Barge crew"), 2: slot(2, OFFICE, (1, 1))})
    people, total, _ = await yard.directory.find(PeopleQuery())
    assert [(person.holder, person.serial) for person in people] == [("", OFFICE), ("Barge crew", CREW)]
    assert total == 2
    assert {card.standing for person in people for card in person.cards} == {Standing.UNLISTED}
    assert (await yard.directory.find(PeopleQuery(listed=True)))[1] == 0


async def test_the_unnamed_are_found_as_they_are_heard() -> None:
    """Last heard first, so that whoever has just pressed can be named."""
    yard = Yard(
        *(Entry(n, serial, unnamed_holder(serial), rights=(GATE,)) for n, serial in enumerate((BERTH, OFFICE, CREW), 2))
    )
    yard.hold(SLIP, {})
    await yard.press(BERTH)
    await yard.clock.advance(60)
    await yard.press(OFFICE)
    people, _, _ = await yard.directory.find(PeopleQuery(unnamed=True, order=PeopleOrder.HEARD))
    assert [person.serial for person in people] == [OFFICE, BERTH, CREW]
    press = people[0].cards[0].last_heard
    assert press is not None
    assert press.sentence == "Unnamed, last heard at Slip gate 08:01, position 1."
    first, _, place = await yard.directory.find(PeopleQuery(order=PeopleOrder.HEARD), limit=1)
    rest, _, _ = await yard.directory.find(PeopleQuery(order=PeopleOrder.HEARD), after=place)
    assert [person.serial for person in (*first, *rest)] == [OFFICE, BERTH, CREW]


async def test_presses_are_remembered_no_longer_than_they_are_kept() -> None:
    """Not even in memory."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,)))
    await yard.press(BERTH)
    assert (await yard.card(BERTH)).last_heard is not None
    await yard.clock.advance(timedelta(days=91).total_seconds())
    assert (await yard.card(BERTH)).last_heard is None


async def test_since_when() -> None:
    """As the journal tells of the slot; unknown where it doesn't."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,)))
    yard.hold(SLIP, {1: slot(1, BERTH, (1, 1))})
    assert (await yard.card(BERTH)).places[0].since is None
    data = {"slots": [{"slot": 1, "what": "added", "serial": write_serial(BERTH), "origin": "line"}]}
    await yard.store.journal.commit(Commit(events=(EventDraft(EventName.SLOT_CHANGED, SLIP, data),)))
    assert (await yard.card(BERTH)).places[0].since == yard.clock.now()


async def test_pages_show_everybody_once() -> None:
    """5,000 holders by pages, in order; a search by serial or by part of a name finds one of them."""
    yard = Yard(*(Entry(n, n, f"Berth {n}", rights=(GATE,)) for n in range(2, 5002)))
    seen: list[int] = []
    place = ""
    while True:
        people, total, place = await yard.directory.find(PeopleQuery(), after=place, limit=499)
        seen += [person.serial for person in people]
        assert total == 5000
        if not place:
            break
    assert seen == list(range(2, 5002))  # Berth 2 before Berth 10
    for text in ("0000004711", "berth 4711"):
        found, total, _ = await yard.directory.find(PeopleQuery(text))
        assert (total, found[0].serial) == (1, 4711)


async def test_one_holder_with_two_transmitters_is_one_person() -> None:
    """Whichever serial is asked for."""
    yard = Yard(Entry(2, BERTH, "Berth 12", rights=(GATE,)), Entry(3, CREW, "berth 12", rights=(GATE,)))
    for serial in (BERTH, CREW):
        assert [card.serial for card in (await yard.directory.card(serial)).cards] == [BERTH, CREW]
    with pytest.raises(NotFound):
        await yard.directory.card(OFFICE)


async def test_the_orders() -> None:
    """By the lowest serial; by the first end, a last day counting to its end; pages keep to the order."""
    ends: tuple[date | datetime | None, ...] = (None, date(2026, 10, 31), datetime(2026, 10, 31, 18, tzinfo=UTC))
    yard = Yard(
        *(Entry(n, 90 - n, f"Berth {n}", rights=(GATE,), valid_until=end) for n, end in enumerate(ends, 2)),
        Entry(9, 95, "Berth 2", rights=(GATE,), valid_until=date(2026, 12, 1)),
    )

    async def by(order: PeopleOrder) -> list[str]:
        found: list[str] = []
        place = ""
        while True:
            people, _, place = await yard.directory.find(PeopleQuery(order=order), after=place, limit=1)
            found += [person.holder for person in people]
            if not place:
                return found

    assert await by(PeopleOrder.HOLDER) == ["Berth 2", "Berth 3", "Berth 4"]
    assert await by(PeopleOrder.SERIAL) == ["Berth 4", "Berth 3", "Berth 2"]
    assert await by(PeopleOrder.ENDING) == ["Berth 4", "Berth 3", "Berth 2"]
