"""A person is taken out of everything that lasts: afterwards no byte of the state folder has their name.

The goal is RELIABILITY's S9 (GDPR, Articles 5(1)(e) and 17); what holds for others stays as it was.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from gateway.domain.drift import Drift, DriftKind
from gateway.domain.enrolment import Override
from gateway.domain.events import EventDraft, EventName
from gateway.domain.forgetting import Redaction
from gateway.domain.plan import PlanState
from gateway.domain.roster import Entry, Roster
from gateway.domain.snapshot import Snapshot
from gateway.ports import Commit, EventFilter, Fetched, Replay, RosterAcceptance, RosterPair, RosterRevision
from gateway.store.keptrosters import KeptRosterFiles
from gateway.store.opening import Store
from tests.fakes.store_samples import IDENTITY, LIMITS, MORNING, a_mirror, a_plan, a_revocation, a_slot, both_lives

Opener = Callable[[], Awaitable[Store]]

NAME, SHORTENED, SERIAL = "Zoë O'Quay of Berth 12", "Zoë O'Quay of", 48_231_907
OTHER = 48_231_901
DIGITS = "0048231907"


@dataclass(frozen=True, slots=True)
class SomeDocument:
    """What a use case might remember."""

    lines: tuple[str, ...]


async def fill(store: Store, folder: Path) -> None:
    """A person's whole life here, and that of a neighbour; in the end both are gone from roster and memory."""
    mirror = a_mirror(numbers=())
    slots = {7: a_slot(7, SERIAL, SHORTENED), 8: a_slot(8, OTHER, "Berth 1")}
    told = [{"slot": 7, "serial": DIGITS, "what": "added", "name": SHORTENED}]
    events = (
        EventDraft(EventName.SLOT_CHANGED, "slip-gate", {"slots": told}),
        EventDraft(EventName.TRANSMITTER_HEARD, "slip-gate", {"serial": DIGITS, "position": "1", "known": True}),
        EventDraft(EventName.TRANSMITTER_HEARD, "slip-gate", {"serial": "0048231901", "position": "1", "known": True}),
        EventDraft(EventName.ENROLMENT_CHANGED, "slip-gate", {"serial": DIGITS, "holder": NAME}),
    )
    plan = a_plan("p1", state=PlanState.APPLIED)
    words = replace(plan.changes[0], after=slots[7], words=f"{NAME}, transmitter {DIGITS}, gets position 1")
    plan = replace(plan, changes=(words, plan.changes[1]), left_out=(f"no room for {NAME}",))
    document = SomeDocument((f"{NAME}: position 1", "Berth 1: position 2"))
    await store.journal.commit(
        Commit(events, mirror=replace(mirror, slots=slots), plans=(plan,), documents={"some": document})
    )
    await store.journal.commit(Commit(mirror=mirror))
    rows = (Entry(2, SERIAL, NAME), Entry(3, OTHER, "Berth 1"))
    await store.roster_book.note(Roster(rows, "d1"), RosterAcceptance("d1", MORNING), now=True)
    await store.roster_book.note(Roster(rows[1:], "d2"), RosterAcceptance("d2", MORNING), now=True)
    await store.audit.record("token:1", "roster.edited", {"serial": DIGITS, "holder": NAME})
    await store.audit.record("token:1", "roster.edited", {"serial": "0048231901", "holder": "Berth 1"})
    await store.replays.begin("k1", b"d")
    await store.replays.finish("k1", Replay(b"d", 201, {}, f'{{"holder": "{NAME}"}}'.encode()))
    await store.ledger.revoke(replace(a_revocation(SERIAL), reason=f"{NAME} has left"), {"slip-gate": slots[7]})
    await store.ledger.revoke(a_revocation(OTHER), {"slip-gate": slots[8]})
    await store.ledger.keep_override(Override(SERIAL, NAME, "any", "", (), "", "token:1", MORNING))
    await store.ledger.end_override(SERIAL)
    drift = Drift("slip-gate", SERIAL, DriftKind.MISSING, MORNING, None, slots[7], None)
    await store.ledger.keep_drift([drift])
    snapshot = Snapshot(
        "20260302T080000Z-001-slip-gate", "slip-gate", MORNING, True, "asked", IDENTITY, LIMITS, 7,
        tuple(slots.values()), tuple(range(32)), mirror.settings, None,
    )  # fmt: skip
    await store.snapshots.write(snapshot)
    for digest, holder in (("d1", NAME), ("d2", "Berth 1")):
        await store.roster_files.keep(digest, Fetched(f"serial,holder\n48231907,{holder}\n".encode("cp1252"), None, ""))
    kept = KeptRosterFiles(folder)
    for holder, what in ((NAME, f"{NAME} was added"), ("Berth 1", f"{NAME} was removed")):
        pair = RosterPair(f"serial,holder\n1,{holder}\n".encode(), None)
        await kept.keep(pair, RosterRevision(0, MORNING, "token:1", "edited", (what,), "d2"))
    (folder / "gatepost.db.damaged-1").write_bytes(NAME.encode())
    (folder / "ledger.damaged-1").write_bytes(NAME.encode())


def found_in(folder: Path) -> list[str]:
    """The files that have the name in them, in any way that a byte can."""
    escaped = NAME.encode("ascii", "backslashreplace").replace(b"\\xeb", b"\\u00eb")
    wanted = (NAME.encode(), escaped, NAME.encode("cp1252"), SHORTENED.encode(), b"O'Quay")
    return [
        str(path.relative_to(folder))
        for path in sorted(folder.rglob("*"))
        if path.is_file() and any(each in path.read_bytes() for each in wanted)
    ]


async def forget(store: Store) -> None:
    names = await store.personal.names_of(await store.personal.serials_of(NAME.upper()))
    assert names == {NAME, SHORTENED}
    done = await store.personal.forget(Redaction({SERIAL}, names), accepted="d2")
    assert (done.serials, done.presses, done.plans, done.audit, done.snapshots) == ((SERIAL,), 1, 1, 1, 1)
    assert min(done.events, done.history, done.ledger, done.files) >= 2


async def test_no_byte_has_the_name(store: Store, folder: Path, reopen: Opener) -> None:
    """While it runs, with the log still there, after a restart, and after everything was written again."""
    await fill(store, folder)
    assert {"ledger", "gatepost.db-wal", "gatepost.db.damaged-1"} <= set(found_in(folder))
    await forget(store)
    assert found_in(folder) == []
    again = await reopen()
    await again.journal.commit(Commit((EventDraft(EventName.GATEWAY_STARTED),)))
    assert found_in(folder) == []
    assert again.notices == ()


async def test_what_stays_is_whole(store: Store, folder: Path, reopen: Opener) -> None:
    """The revocation with its slot, the chain of the audit, snapshot, plan and history; and all of the neighbour's."""
    await fill(store, folder)
    await forget(store)
    async for now in both_lives(store, reopen):
        revocation = now.ledger.revocations()[SERIAL]
        assert "has left" in revocation.reason
        assert now.ledger.old_slots(SERIAL)["slip-gate"] == replace(a_slot(7, SERIAL), name="")
        assert now.ledger.old_slots(OTHER)["slip-gate"].name == "Berth 1"
        check = await now.audit.verify()
        assert (check.broken, check.problem) == (None, "")
        assert [row.detail is None for row in await now.audit.read()] == [False, True]
        snapshot = await now.snapshots.read("20260302T080000Z-001-slip-gate")
        assert [(slot.serial, slot.name) for slot in snapshot.slots] == [(SERIAL, ""), (OTHER, "Berth 1")]
        plan = await now.plans.load("p1")
        assert plan is not None
        assert DIGITS in plan.changes[0].words
        assert plan.changes[1] == a_plan().changes[1]
        loaded = now.documents.load("some", SomeDocument)
        assert loaded == SomeDocument(("(forgotten): position 1", "Berth 1: position 2"))
        heard = await now.journal.read(0, wanted=EventFilter(names=frozenset({EventName.TRANSMITTER_HEARD})))
        assert [event.data["serial"] for event in heard] == ["0048231901"]
        spans = await now.history.memory(serial=SERIAL)
        assert [held.name for held in spans] == [""]
        assert [line.line.holder for line in await now.history.roster(serial=OTHER)] == ["Berth 1"]
        assert await now.roster_files.load("d2") is not None
        assert await now.roster_files.load("d1") is None
    newest = await KeptRosterFiles(folder).newest()
    assert newest is not None
    assert newest[0].words == ("(forgotten) was removed",)
    assert await KeptRosterFiles(folder).load(1) is None


async def test_a_plan_saved_again_afterwards_is_the_same_plan(store: Store, folder: Path) -> None:
    """Its body is known by a digest, and is written anew where that no longer fits."""
    await fill(store, folder)
    await forget(store)
    plan = await store.plans.load("p1")
    assert plan is not None
    await store.journal.commit(Commit(plans=(replace(plan, outcome="checked"),)))
    again = await store.plans.load("p1")
    assert again == replace(plan, outcome="checked")


async def test_lines_of_a_newer_program_stay_in_the_ledger(store: Store, folder: Path) -> None:
    """This one does not know what they mean, and takes a name out all the same."""
    store.ledger._lines.append({"type": "of-tomorrow", "serial": SERIAL, "who": NAME})
    await store.personal.forget(Redaction({SERIAL}, {NAME}), accepted="")
    assert {"type": "of-tomorrow", "serial": SERIAL, "who": ""} in store.ledger._lines.entries
    assert found_in(folder) == []


async def test_a_new_number_is_never_an_old_one(store: Store, folder: Path) -> None:
    """Forgetting the newest event gives its number to nobody."""
    heard = EventDraft(EventName.TRANSMITTER_HEARD, "slip-gate", {"serial": DIGITS})
    (first,) = await store.journal.commit(Commit((heard,)))
    await store.personal.forget(Redaction({SERIAL}, ()), accepted="")
    (second,) = await store.journal.commit(Commit((heard,)))
    assert second.id.number == first.id.number + 1
    assert store.journal.oldest_number == second.id.number


@pytest.mark.parametrize("name", ["%", "_", "' or 1=1 --", '"', "\\", "Berth\u202e12", "\x00"])
async def test_a_hostile_name_takes_nothing_else_along(store: Store, folder: Path, name: str) -> None:
    """No pattern and no SQL: the neighbour is still there."""
    await fill(store, folder)
    assert await store.personal.serials_of(name) == frozenset()
    await store.personal.forget(Redaction({1}, {name}), accepted="d2")
    whole = await store.history.roster()
    assert {span.line.holder for span in whole} == {NAME, "Berth 1"}
