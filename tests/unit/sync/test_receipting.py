"""A receipt after each sync: only for what was proven, and only when nothing is left to write."""

from __future__ import annotations

import json
from datetime import timedelta

from gateway.domain.events import EventName
from gateway.domain.plan import PlanState
from gateway.domain.receipt import revoked_digest
from gateway.domain.revocation import RevocationState
from tests.fakes.clock import FakeClock
from tests.fakes.receipts import MemoryReceipts
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster, run_in


def house_of(count: int = 3) -> tuple[SyncHouse, MemoryReceipts]:
    clock = FakeClock()
    receipts = MemoryReceipts()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, receipts=receipts)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, count + 1))))
    return house, receipts


async def test_a_plan_that_was_written_and_proven_has_a_receipt() -> None:
    """It states what the receiver itself states of its memory, and the plan names it."""
    house, receipts = house_of()
    plan = await house.runner.apply("slip-gate")
    (kept,) = receipts.kept
    assert plan.state is PlanState.APPLIED
    assert plan.receipt == kept.id
    assert f"Receipt {kept.id}." in plan.outcome
    statement = kept.document["receipt"]
    stated = await house.receivers["slip-gate"].read_block_crcs()
    assert statement["memory"]["block_crc32"] == [f"{crc:08x}" for crc in stated.crcs]
    assert statement["memory"]["revision"] == stated.revision
    assert statement["memory"]["transmitters"] == 3
    assert statement["plan"] == {"id": plan.id, "written": 3, "not_done": 0}
    assert statement["roster"] == {"digest": "d1", "revision": None, "equal": True}
    assert statement["done"] == "sync"
    (event,) = [e for e in await house.store.journal.read(0) if e.name == "plan.applied"]
    assert event.data["receipt"] == kept.id


async def test_nothing_to_write_is_proven_too() -> None:
    """Somebody who asks has a receipt each time; the timetable one an hour while nothing differs."""
    house, receipts = house_of()
    async with run_in(house):
        await house.runner.apply("slip-gate")
        await house.runner.apply("slip-gate")
        assert len(receipts.kept) == 1
        asked = await house.runner.start("slip-gate", asked_by="harbour office")
        assert (len(receipts.kept), asked.receipt) == (2, receipts.kept[1].id)
        assert receipts.kept[1].document["receipt"]["plan"]["written"] == 0
        await house.clock.advance(timedelta(hours=2).total_seconds())
        await house.runner.apply("slip-gate")
        assert len(receipts.kept) == 3
        house.rosters.put(roster(*(entry(serial) for serial in range(1, 4)), digest="d2"))
        await house.runner.apply("slip-gate")
        assert receipts.kept[3].document["receipt"]["roster"]["digest"] == "d2"


async def test_there_is_none_while_something_waits_for_approval() -> None:
    """A held plan, and the additions that went ahead of it, leave the receiver unequal to the roster."""
    house, receipts = house_of(10)
    await house.runner.apply("slip-gate")
    house.rosters.put(roster(*(entry(serial) for serial in (1, 2, 3, 4, 11)), digest="d2"))
    held = await house.runner.apply("slip-gate")
    assert held.state is PlanState.HELD
    assert len(receipts.kept) == 1
    async with run_in(house):
        await house.runner.approve(held.id, asked_by="harbour office")
        await house.clock.advance(10)
    assert len(receipts.kept) == 2
    assert receipts.kept[1].document["receipt"]["memory"]["transmitters"] == 5


async def test_what_a_rule_left_out_is_counted() -> None:
    """A revoked row of the roster: proven without it, and said so."""
    house, receipts = house_of()
    async with run_in(house):
        await house.revoker.revoke(2, asked_by="harbour office", reason="lost")
        await house.clock.advance(5)
    await house.runner.apply("slip-gate")
    statement = receipts.kept[-1].document["receipt"]
    assert (statement["memory"]["transmitters"], statement["plan"]["not_done"]) == (2, 1)


async def test_a_revocation_has_a_receipt_that_names_nobody() -> None:
    """Who has the event has the salt, and finds the transmitter in the receipt; the memory is as the receiver says."""
    house, receipts = house_of()
    await house.runner.apply("slip-gate")
    async with run_in(house):
        await house.revoker.revoke(2, asked_by="harbour office", reason="lost")
        await house.clock.settle()
    (event,) = house.store.journal.all(EventName.REVOCATION_APPLIED)
    kept = receipts.kept[-1]
    statement = kept.document["receipt"]
    assert event.data["receipt"] == kept.id
    assert statement["revoked"] == [revoked_digest(2, str(event.data["salt"]))]
    assert "0000000002" not in json.dumps(statement)
    assert statement["done"] == "revocation"
    assert statement["plan"] == {"id": "", "written": 1, "not_done": 1}
    assert statement["roster"] == {"digest": "d1", "revision": None, "equal": True}
    stated = await house.receivers["slip-gate"].read_block_crcs()
    assert statement["memory"]["block_crc32"] == [f"{crc:08x}" for crc in stated.crcs]
    assert statement["memory"]["transmitters"] == 2


async def test_a_revocation_says_when_the_rest_is_not_equal_to_the_roster() -> None:
    """Nothing but the revoked was touched; no roster at all is said too. A full disk costs the receipt alone."""
    house, receipts = house_of()
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="harbour office", reason="found in the street")
        await house.clock.settle()
        assert receipts.kept[-1].document["receipt"]["roster"]["equal"] is False
        house.rosters.in_force = None
        await house.revoker.revoke(8, asked_by="harbour office", reason="found in the street")
        await house.clock.settle()
        assert receipts.kept[-1].document["receipt"]["roster"] is None
        receipts.full = True
        await house.revoker.revoke(9, asked_by="harbour office", reason="found in the street")
        await house.clock.settle()
    assert house.revoker.state(9) == {"slip-gate": RevocationState.PROVEN}
    event = house.store.journal.all(EventName.REVOCATION_APPLIED)[-1]
    assert (event.data["receipt"], event.data["salt"]) == ("", "")


async def test_an_untrusted_clock_is_said() -> None:
    """The time is there, and that it is not known to be right."""
    house, receipts = house_of()
    house.trust.trusted = False
    await house.runner.apply("slip-gate")
    assert receipts.kept[0].document["receipt"]["clock"]["trusted"] is False


async def test_a_receipt_that_cant_be_kept_undoes_nothing() -> None:
    """The plan is applied all the same, and its outcome says what happened."""
    house, receipts = house_of()
    receipts.full = True
    plan = await house.runner.apply("slip-gate")
    assert plan.state is PlanState.APPLIED
    assert plan.receipt == ""
    assert "receipt can't be kept: There is no room." in plan.outcome
