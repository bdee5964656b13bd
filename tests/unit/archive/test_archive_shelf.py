"""The shelf: taken by timetable and on demand, listed, taken in from elsewhere, pruned."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from gateway.domain.events import EventName
from gateway.domain.receiver import Capability, Origin
from gateway.errors import LinkLost, NotFound, Refused
from gateway.ports import RestoreOrder
from gateway.store.snapshotfiles import read_document, to_document
from tests.fakes.archive_house import ArchiveHouse, fill
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver, some_slot
from tests.fakes.sync_house import quay_receiver, run_in


def house_of(*names: str, keep_last: int = 20) -> ArchiveHouse:
    clock = FakeClock()
    receivers = [quay_receiver(name, clock=clock) for name in names or ("slip-gate",)]
    for receiver in receivers:
        fill(receiver, some_slot(1, 101, name="Berth 1"))
    return ArchiveHouse(receivers, clock=clock, keep_last=keep_last)


async def test_the_timetable_archives_what_has_changed() -> None:
    """The first time all, then only those with a new revision; one that is silent keeps nobody from theirs."""
    house = house_of("slip-gate", "car-park", "workshop")
    await house.clock.run(house.shelf.take_due())
    assert len(house.store.snapshots.kept) == 3
    await house.clock.advance(3600)
    await house.clock.run(house.shelf.take_due())
    assert len(house.store.snapshots.kept) == 3, "unchanged receivers make no new ones"
    for name in ("car-park", "workshop"):
        fill(house.receivers[name], some_slot(2, 102))
    house.receivers["workshop"].link_error = LinkLost("Gone.")
    await house.clock.run(house.shelf.take_due())
    newest = list(house.store.snapshots.kept.values())[-1]
    assert (len(house.store.snapshots.kept), newest.receiver, newest.reason) == (4, "car-park", "timetable")
    house.receivers["workshop"].no_faults()
    house.receivers["workshop"].board.change_on_time(1, 9, Origin.BOARD)
    await house.clock.run(house.shelf.take_due())
    assert len(house.store.snapshots.kept) == 5, "settings count too, and what was missed is made up"


async def test_another_receiver_with_the_same_revision_is_archived() -> None:
    """A replacement is another one, whatever its revision says."""
    house = house_of()
    await house.clock.run(house.shelf.take_due())
    first = next(iter(house.store.snapshots.kept.values()))
    house.store.snapshots.kept[first.id] = replace(first, identity=replace(first.identity, serial="FQ-0000"))
    again = house.restarted()
    await again.clock.advance(60)
    await again.clock.run(again.shelf.take_due())
    assert len(again.store.snapshots.kept) == 2


async def test_a_plain_board_has_nothing_to_archive() -> None:
    """Without slots and settings there is no snapshot to take by itself."""
    clock = FakeClock()
    house = ArchiveHouse([FakeReceiver("pump", clock=clock, capabilities=frozenset[Capability]())], clock=clock)
    await house.clock.run(house.shelf.take_due())
    assert house.store.snapshots.kept == {}


async def test_heads_by_page_and_by_receiver() -> None:
    """Newest first; the next page goes on behind an id; nothing is known of a strange one."""
    house = house_of("slip-gate", "car-park")
    taken = []
    for name in ("slip-gate", "car-park", "slip-gate"):
        taken.append(await house.take(name))
        await house.clock.advance(5)
    assert [head.id for head in await house.shelf.heads()] == [head.id for head in reversed(taken)]
    assert [head.id for head in await house.shelf.heads("slip-gate")] == [taken[2].id, taken[0].id]
    assert [head.id for head in await house.shelf.heads(limit=1, before=taken[2].id)] == [taken[1].id]
    with pytest.raises(NotFound):
        await house.shelf.head("20260302T080000Z-001-nowhere")
    with pytest.raises(NotFound, match="neither a receiver nor a snapshot"):
        await house.shelf.compare(taken[0].id, "boat-house")


async def test_a_file_from_elsewhere_gets_a_name_of_its_own() -> None:
    """It can't be taken for one of ours, comes in once however often it is handed in, and is merged by its id."""
    house = house_of()
    mine = await house.take()
    content = await house.shelf.export(mine.id)
    kept = await house.shelf.take_in(content)
    assert (kept.receiver, kept.slots) == ("import.slip-gate", 1)
    assert kept.id != mine.id
    assert (await house.shelf.take_in(content)).id == kept.id
    assert (await house.shelf.take_in(await house.shelf.export(kept.id))).id == kept.id
    assert len(house.store.snapshots.kept) == 2
    assert len(house.store.journal.all(EventName.SNAPSHOT_TAKEN)) == 1
    with pytest.raises(Refused) as refused:
        await house.clock.run(house.desk.preview(RestoreOrder("slip-gate", kept.id)))
    assert refused.value.code == "snapshot-of-another"


async def test_a_spoilt_file_is_refused_with_its_place() -> None:
    """Schema, sense and checksum: each in words, and nothing is kept."""
    house = house_of()
    document = to_document(house.store.snapshots.kept[(await house.take()).id])
    spoilt = {
        "slots/0/serial": {**document, "slots": [{**document["slots"][0], "serial": "11"}]},
        "checksum": {**document, "revision": 99},
        "extra": {**document, "extra": 1},
        "no document": [],
    }
    for words, broken in spoilt.items():
        with pytest.raises(Refused, match=words) as refused:
            await house.shelf.take_in(json.dumps(broken).encode())
        assert refused.value.code == "snapshot-damaged"
    assert len(house.store.snapshots.kept) == 1
    assert read_document(json.dumps(document).encode()).revision == document["revision"]


async def test_pruning_keeps_what_a_restore_needs() -> None:
    """The restored snapshot and the way back stay while the roster waits; nothing goes while the clock is in doubt."""
    house = house_of(keep_last=1)
    restored = await house.take()
    async with run_in(house):
        for serial in (201, 202, 203):
            await house.clock.advance(60)
            fill(house.receivers["slip-gate"], some_slot(2, serial))
            await house.take()
        plan = await house.restore(RestoreOrder("slip-gate", restored.id))
        await house.clock.advance(60)
        newest = await house.take()
        house.trust.trusted = False
        assert await house.shelf.prune() == ()
        house.trust.trusted = True
        await house.clock.run(house.shelf.prune())
        assert set(house.store.snapshots.kept) == {restored.id, plan.snapshot, newest.id}
        await house.waiting.approve("slip-gate", "roster", asked_by="Kim")
        await house.clock.run(house.shelf.prune())
        assert set(house.store.snapshots.kept) == {newest.id}
