"""Who may be forgotten, and which names and serials that concerns."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from gateway.archive.forgetting import Forgetter
from gateway.domain.forgetting import Forgotten, Redaction
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry, Roster
from gateway.errors import NotFound, Refused
from tests.fakes.memory_store import MemoryMirrors
from tests.fakes.store_samples import a_mirror, a_slot

LEFT, OTHER = 48_231_907, 77


class FakeData:
    """`ports.PersonalData` over two tables."""

    def __init__(self) -> None:
        self.names = {LEFT: {"Berth 12", "Berth 1"}, OTHER: {"Barge crew"}}
        self.done: list[Redaction] = []

    async def serials_of(self, name: str) -> frozenset[int]:
        folded = name.casefold()
        return frozenset(s for s, names in self.names.items() if folded in {each.casefold() for each in names})

    async def names_of(self, serials: Collection[int]) -> frozenset[str]:
        return frozenset(name for serial in serials for name in self.names.get(serial, ()))

    async def forget(self, redaction: Redaction, *, accepted: str) -> Forgotten:
        assert accepted == "d1"
        self.done.append(redaction)
        return Forgotten(tuple(sorted(redaction.serials)))


class House:
    """One receiver, and a roster that the test sets."""

    def __init__(self, *entries: Entry) -> None:
        self.data = FakeData()
        self.mirrors = MemoryMirrors()
        self.roster = Roster(entries, "d1")
        self.after: list[int] = []
        self.revoked: dict[int, Revocation] = {}

        async def afterwards(serials: Collection[int]) -> None:
            self.after += serials

        self.desk = Forgetter(
            data=self.data, roster=lambda: self.roster, digest=lambda: "d1", receivers=("slip-gate",),
            mirrors=self.mirrors, revoked=lambda: self.revoked, afterwards=afterwards,
        )  # fmt: skip

    def hold(self, serial: int, name: str) -> None:
        mirror = a_mirror(numbers=())
        self.mirrors.kept["slip-gate"] = replace(mirror, slots={1: a_slot(1, serial, name)})

    @property
    def redaction(self) -> Redaction:
        (found,) = self.data.done
        return found


async def test_by_name_with_what_memories_made_of_it() -> None:
    """Whatever the case; the revocation is told as one that stays."""
    house = House(Entry(2, OTHER, "Barge crew"))
    house.revoked[LEFT] = Revocation(LEFT, "x", "lost", datetime(2026, 3, 1, tzinfo=UTC))
    done = await house.desk.forget(holder=" berth 12 ")
    assert (done.serials, done.revoked) == ((LEFT,), (LEFT,))
    assert house.redaction.names == {"berth 12", "Berth 12", "Berth 1"}
    assert house.after == [LEFT]


async def test_by_serial() -> None:
    """All who ever had it; a serial that nothing names is cleared of its presses all the same."""
    house = House()
    await house.desk.forget(serial=LEFT)
    assert house.redaction.names == {"Berth 12", "Berth 1"}
    house.data.done.clear()
    assert (await house.desk.forget(serial=5)).serials == (5,)
    assert house.redaction.names == frozenset()


async def test_whoever_has_it_now_keeps_their_name() -> None:
    """Handed on: the former name goes, the new one and what a memory made of it stay."""
    house = House(Entry(2, LEFT, "Harbour office"))
    house.data.names[LEFT] |= {"Harbour office", "Harbour"}
    house.hold(LEFT, "Harbour")
    await house.desk.forget(holder="Berth 12")
    assert house.redaction.names == {"Berth 12", "Berth 1"}


async def test_another_former_holder_of_the_same_transmitter_is_not_meant() -> None:
    """Asked by name, only that name goes."""
    house = House()
    house.data.names[LEFT].add("Old skipper")
    await house.desk.forget(holder="Berth 12")
    assert "Old skipper" not in house.redaction.names


@pytest.mark.parametrize(
    ("entries", "held", "by", "code"),
    [
        ([Entry(2, LEFT, "BERTH 12")], None, {"holder": "Berth 12"}, "holder-listed"),
        ([Entry(2, 5, "Berth 12")], None, {"holder": "Berth 12"}, "holder-listed"),
        ([Entry(2, LEFT, "Berth 12")], None, {"serial": LEFT}, "holder-listed"),
        ([], (LEFT, "Berth 12"), {"holder": "Berth 12"}, "still-held"),
        ([], (LEFT, ""), {"serial": LEFT}, "still-held"),
        ([Entry(2, LEFT, "Harbour office")], (LEFT, "Berth 12"), {"holder": "Berth 12"}, "still-held"),
    ],
)
async def test_who_still_has_access_is_not_forgotten(
    entries: list[Entry], held: tuple[int, str] | None, by: dict[str, object], code: str
) -> None:
    """On a roster, or in a memory: refused with what to do first, and nothing is taken out."""
    house = House(*entries)
    if held:
        house.hold(*held)
    with pytest.raises(Refused) as caught:
        await house.desk.forget(**by)  # type: ignore[arg-type]  # by name
    assert caught.value.code == code
    assert caught.value.remedy
    assert house.data.done == []


async def test_a_name_that_nobody_ever_had() -> None:
    """Told, so that a slip of the pen is not taken for done."""
    with pytest.raises(NotFound):
        await House().desk.forget(holder="Berth 99")


async def test_a_preview_takes_nothing_out_and_refuses_what_is_refused() -> None:
    """Whom it would be, with what stays revoked; the same refusals as the deed, before anybody is asked."""
    house = House()
    house.revoked[LEFT] = Revocation(LEFT, "token:desk", "left", datetime(2026, 3, 2, tzinfo=UTC))
    seen = await house.desk.forget(holder="berth 12", preview=True)
    assert (seen.serials, seen.revoked) == ((LEFT,), (LEFT,))
    with pytest.raises(NotFound):
        await house.desk.forget(holder="Nobody", preview=True)
    house.hold(LEFT, "Berth 12")
    with pytest.raises(Refused, match="still holds"):
        await house.desk.forget(serial=LEFT, preview=True)
    assert (house.data.done, house.after) == ([], [])
