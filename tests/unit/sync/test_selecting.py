"""Whose transmitters are revoked together: by roster, by override, by what a memory still holds under a name."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from gateway.domain.enrolment import Override
from gateway.domain.receiver import Origin
from gateway.domain.roster import Right, Roster
from gateway.errors import NotFound
from gateway.sync.overrides import OverriddenRosters
from gateway.sync.selecting import Selector
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import some_slot
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver

GATE = (Right("slip-gate", "1", "gate"),)


async def house_with(*slots: tuple[int, str]) -> tuple[SyncHouse, Selector]:
    """A receiver that holds these serials under these names."""
    clock = FakeClock()
    receiver = quay_receiver(clock=clock)
    for number, (serial, name) in enumerate(slots, 1):
        receiver.board.put(number, some_slot(number, serial, name=name), Origin.LINE)
    house = SyncHouse([receiver], clock=clock)
    await house.keeper.refresh("slip-gate")
    selector = Selector(
        site=house.site,
        rosters=OverriddenRosters(house.rosters, house.store.ledger),
        ledger=house.store.ledger,
        mirrors=house.store.mirrors,
    )
    return house, selector


async def test_a_holder_has_all_of_them() -> None:
    """Every row of that name, without regard to case and surplus blanks; others are left alone."""
    house, selector = await house_with((1, "Berth 1"), (2, "Berth 2"))
    rows = [entry(1), replace(entry(3), holder="Berth 1"), entry(2)]
    house.rosters.put(Roster(tuple(rows), "d1"))
    found = selector.of_holder(" berth  1 ")
    assert [(each.serial, each.receivers, each.listed) for each in found] == [
        (1, ("slip-gate",), True),
        (3, (), True),
    ]
    assert found[0].words == "Berth 1, transmitter 0000000001, held by slip-gate."
    assert "held by no receiver" in found[1].words
    with pytest.raises(NotFound) as caught:
        selector.of_holder("Brth 1")
    assert (caught.value.remedy or "").startswith("Did you mean Berth 1? ")


async def test_a_group_has_its_members_of_today() -> None:
    """Rows with rights of their own are nobody's group; an empty and an unknown group are told apart."""
    house, selector = await house_with((1, "Berth 1"))
    rows = [replace(entry(1), group="crew"), replace(entry(2), group="berths"), entry(3)]
    house.rosters.put(Roster(tuple(rows), "d1", groups={"crew": GATE, "berths": GATE, "guests": GATE}))
    assert [each.serial for each in selector.of_group("CREW")] == [1]
    with pytest.raises(NotFound) as empty:
        selector.of_group("guests")
    assert empty.value.message.startswith("Nobody is in")
    with pytest.raises(NotFound) as unknown:
        selector.of_group("pirates")
    assert "crew" in unknown.value.remedy


async def test_who_left_the_roster_and_who_is_not_in_it_yet() -> None:
    """A memory's name and a local override count; without any roster the memory alone does."""
    house, selector = await house_with((1, "Berth 1"), (7, "Berth 7"))
    house.rosters.put(Roster((entry(1),), "d1"))
    noon = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    await house.store.ledger.keep_override(Override(8, "Berth 7", "any", "", GATE, "", "Kim", noon, "d1"))
    await house.revoker.revoke(8, asked_by="Kim", reason="lost")
    gone, new = selector.of_holder("Berth 7")
    assert (gone.serial, gone.listed, gone.receivers) == (7, False, ("slip-gate",))
    assert "no longer in the roster" in gone.words
    assert (new.serial, new.listed, new.revoked) == (8, True, True)
    assert "revoked already" in new.words
    house.rosters.in_force = None
    assert [each.serial for each in selector.of_holder("Berth 1")] == [1]


async def test_a_name_in_a_memory_that_the_roster_gives_to_somebody_else() -> None:
    """The roster's row says whose it is; an old name in a slot doesn't take another person's access."""
    house, selector = await house_with((1, "Berth 5"))
    house.rosters.put(Roster((entry(1), entry(5)), "d1"))
    assert [each.serial for each in selector.of_holder("Berth 5")] == [5]
