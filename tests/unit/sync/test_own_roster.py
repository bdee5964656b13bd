"""The roster that a gateway keeps itself: checked as any file, kept, put in force, and never overwritten unseen."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.errors import NotFound, Refused, SourceUnreachable, StoreDamaged
from gateway.ports import AddRow, ChangeRow, PutFiles, PutGroup, ReceiverFacts, RemoveRow, RosterEdit, RosterPair
from gateway.roster import RosterFileReader
from gateway.roster.editing import FileEditor
from gateway.roster.local_source import LocalSource
from gateway.store.keptrosters import FOLDER_NAME, KeptRosterFiles
from gateway.sync.own_roster import OwnRosterDesk
from gateway.sync.roster_keeper import RosterKeeper
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.workbooks import Sheets, write_ods

FACTS = (ReceiverFacts("slip-gate", {1: "gate", 2: "boat-hoist"}),)
GATE = {"rights": "1:slip-gate/gate"}


class Desk:
    """A desk over real files and the ordinary keeper."""

    def __init__(self, state: Path, *, ours: bool = True) -> None:
        clock = FakeClock()
        self.kept = KeptRosterFiles(state)
        self.store = MemoryStore(clock)
        reader = RosterFileReader(ZoneInfo("UTC"))
        self.rosters = RosterKeeper(
            source=LocalSource(self.kept), reader=reader, archive=self.store.rosters, ledger=self.store.ledger,
            journal=self.store.journal, clock=clock, receivers=FACTS,
        )  # fmt: skip
        self.own = OwnRosterDesk(
            kept=self.kept if ours else None, editor=FileEditor(), reader=reader, rosters=self.rosters,
            archive=self.store.rosters, zone=ZoneInfo("UTC"), receivers=FACTS, clock=clock,
        )  # fmt: skip

    @property
    def holders(self) -> list[str]:
        in_force = self.rosters.in_force
        return [entry.holder for entry in in_force.roster.entries] if in_force else []


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


async def test_an_edit_is_kept_and_in_force(desk: Desk) -> None:
    """With who, when and what, before and after, in words."""
    await desk.own.edit([AddRow(12, {"holder": "Berth 12", **GATE})], who="token:1")
    done = await desk.own.edit([ChangeRow(12, {"holder": "Berth 13", "valid_until": "2026-10-31"})], who="token:2")
    assert done.revision is not None
    assert (done.revision.number, done.revision.who, done.revision.how) == (2, "token:2", "edited")
    assert done.words == (
        "Berth 12, transmitter 0000000012: holder Berth 12 → Berth 13; valid until none → 2026-10-31",
    )
    assert (desk.holders, done.problem) == (["Berth 13"], "")
    assert desk.store.ledger.accepted is not None
    assert desk.store.ledger.accepted.digest == done.revision.digest
    assert [each.number for each in await desk.own.revisions()] == [2, 1]


async def test_faults_are_told_all_together_and_change_nothing(desk: Desk) -> None:
    """Row by row, with what to write."""
    await desk.own.edit([AddRow(12, {"holder": "Berth 12", **GATE})], who="x")
    edits: list[RosterEdit] = [
        ChangeRow(12, {"group": "nobody"}),
        AddRow(13, {"holder": "", "rights": "9:slip-gate/none"}),
    ]
    done = await desk.own.edit(edits, who="x")
    assert done.revision is None
    assert {(fault.row, fault.column) for fault in done.faults} == {(2, "group"), (3, "holder"), (3, "rights")}
    assert all(fault.remedy for fault in done.faults)
    assert (desk.holders, len(await desk.own.revisions())) == (["Berth 12"], 1)


async def test_an_end_that_is_over_is_kept_with_a_note(desk: Desk) -> None:
    """Once, at the edit that wrote it: a mistyped year, or a wish; by a file it is neither."""
    over = AddRow(12, {"holder": "Berth 12", **GATE, "valid_until": "2026-01-01"})
    seen = await desk.own.edit([over], who="x", preview=True)
    kept = await desk.own.edit([over], who="x")
    for (note,) in (seen.warnings, kept.warnings):
        assert (note.row, note.column) == (2, "valid_until")
        assert note.found == "the last moment of Berth 12, transmitter 0000000012, 2026-01-01, is over"
    assert (await desk.own.edit([ChangeRow(12, {"note": "spare"})], who="x")).warnings == ()
    assert (await desk.own.edit([ChangeRow(12, {"valid_until": "2099-01-01"})], who="x")).warnings == ()
    csv = b"serial,holder,rights,valid_until\n12,Berth 12,1:slip-gate/gate,2026-01-01\n"
    assert (await desk.own.edit([PutFiles(RosterPair(csv, None))], who="x")).warnings == ()


async def test_a_workbook_is_checked_as_it_came_and_kept_as_text(desk: Desk) -> None:
    """Faults name its own sheets and rows; what it means is in force, and every edit after it is one of text."""
    header, groups = ["serial", "holder", "group"], ["group", "receiver", "position", "outputs"]
    sheets: Sheets = {
        "roster": [header, [None], [12, "Berth 12", "berths"]],
        "groups": [groups, [None], ["berths", "slip-gate", 1, "none"]],
    }
    faulty = await desk.own.edit([PutFiles(RosterPair(write_ods(sheets), None))], who="x", how="imported")
    (fault,) = faulty.faults
    assert (fault.file, fault.row, fault.column) == ("roster, sheet groups", 3, "outputs")
    good = write_ods({**sheets, "groups": [groups, ["berths", "slip-gate", 1, "gate"]]})
    done = await desk.own.edit([PutFiles(RosterPair(good, None))], who="x", how="imported")
    assert (done.problem, desk.holders) == ("", ["Berth 12"])
    _, pair = await desk.own.files()
    assert pair.roster == b"serial,holder,group\n0000000012,Berth 12,berths\n"
    await desk.own.edit([ChangeRow(12, {"holder": "Berth 13"})], who="x")
    revision, book = await desk.own.book("xlsx")
    assert (revision.number, desk.holders) == (2, ["Berth 13"])
    again = await desk.own.edit([PutFiles(RosterPair(book, None))], who="x", how="imported")
    assert again.revision is None


async def test_nothing_to_change_keeps_nothing(desk: Desk) -> None:
    """The same files once more are no revision."""
    await desk.own.edit([AddRow(12, {"holder": "Berth 12", **GATE})], who="x")
    _, pair = await desk.own.files()
    assert (await desk.own.edit([PutFiles(pair)], who="x", how="imported")).revision is None


async def test_the_last_transmitter_stays(desk: Desk) -> None:
    """An empty roster is never put in force."""
    await desk.own.edit([AddRow(12, {"holder": "Berth 12", **GATE})], who="x")
    with pytest.raises(Refused) as told:
        await desk.own.edit([RemoveRow(12)], who="x")
    assert told.value.code == "roster-empty"
    assert desk.holders == ["Berth 12"]


def must_be(tag: str) -> Callable[[str], None]:
    def basis(now: str) -> None:
        if now != tag:
            raise Refused("It was changed.", code="stale")

    return basis


async def test_two_who_start_from_the_same_row(desk: Desk) -> None:
    """The second is refused; another row, and another group, is not in their way."""
    await desk.own.edit([AddRow(n, {"holder": f"Berth {n}", **GATE}) for n in (12, 13)], who="x")
    tag, other = await desk.own.tag("row 0000000012"), await desk.own.tag("row 0000000013")
    edits = [
        desk.own.edit([ChangeRow(12, {"note": text})], who=text, subject="row 0000000012", basis=must_be(tag))
        for text in ("one", "two")
    ]
    first, second = await asyncio.gather(*edits, return_exceptions=True)
    assert not isinstance(first, BaseException)
    assert isinstance(second, Refused)
    assert await desk.own.tag("row 0000000013") == other
    await desk.own.edit([PutGroup("crew", {"slip-gate": {"1": ["gate"]}})], who="x")
    await desk.own.edit([ChangeRow(12, {"group": "crew"})], who="x")
    row = await desk.own.tag("row 0000000012")
    await desk.own.edit([PutGroup("crew", {"slip-gate": {"2": ["gate"]}})], who="x")
    assert await desk.own.tag("row 0000000012") == row, "a group's rights are no part of the row"
    assert await desk.own.tag("group crew")
    assert await desk.own.tag("row 0000000099") == ""


async def test_import_and_export_are_the_same_bytes(desk: Desk) -> None:
    """Odd separators and comments as they were; older files as long as they are kept."""
    pair = RosterPair(b"serial;holder;rights\r\n12;Berth 12;1:slip-gate/gate\r\n", b"# nothing yet\n")
    await desk.own.edit([PutFiles(pair)], who="x", how="imported")
    await desk.own.edit([ChangeRow(12, {"note": "y"})], who="x")
    assert (await desk.own.files(1))[1] == pair
    assert (await desk.own.files())[0].number == 2
    with pytest.raises(NotFound):
        await desk.own.files(3)


async def test_another_source_is_edited_elsewhere(tmp_path: Path) -> None:
    """And says where."""
    desk = Desk(tmp_path, ours=False)
    for work in (
        desk.own.edit([RemoveRow(12)], who="x"),
        desk.own.tag("files"),
        desk.own.files(),
        desk.own.revisions(),
    ):
        with pytest.raises(Refused, match="not kept here") as told:
            await work
        assert told.value.code == "roster-elsewhere"
    assert not desk.own.ours


async def test_a_kept_edit_that_was_cut_off_is_in_force_after_a_start(tmp_path: Path) -> None:
    """The files are the truth, not what was in force."""
    first = Desk(tmp_path)
    await first.own.edit([AddRow(12, {"holder": "Berth 12", **GATE})], who="x")
    second = Desk(tmp_path)
    await second.rosters.fetch()
    assert second.holders == ["Berth 12"]


async def test_a_damaged_revision_gives_nothing_back(tmp_path: Path) -> None:
    """The roster in force stays, edits are refused, and a start mends it from the accepted bytes; so does an import."""
    desk = Desk(tmp_path)
    await desk.own.edit([AddRow(n, {"holder": f"Berth {n}", **GATE}) for n in (12, 13)], who="x")
    await desk.own.edit([RemoveRow(13)], who="x")
    _, pair = await desk.own.files()
    (tmp_path / FOLDER_NAME / "000002" / "roster.csv").write_bytes(b"damaged")
    state = await desk.rosters.fetch()
    assert (desk.holders, state.unreachable) == (["Berth 12"], True)
    with pytest.raises(StoreDamaged):
        await desk.own.edit([ChangeRow(12, {"note": "x"})], who="x")
    await desk.own.mend()
    await desk.rosters.fetch()
    assert desk.holders == ["Berth 12"]
    newest, mended = await desk.own.files()
    assert (newest.number, newest.how, mended) == (3, "mended", pair)
    (tmp_path / FOLDER_NAME / "000003" / "about.json").unlink()
    done = await desk.own.edit([PutFiles(pair)], who="x", how="imported")
    assert done.revision is not None
    assert done.revision.number == 4


async def test_the_source_says_what_is_missing(tmp_path: Path) -> None:
    """Nobody yet, or a folder that can't be read."""
    desk = Desk(tmp_path)
    state = await desk.rosters.fetch()
    assert "nobody is in it yet" in state.problem
    assert "from-receiver" in state.remedy
    (tmp_path / FOLDER_NAME).write_text("a file in its place")
    with pytest.raises(SourceUnreachable):
        await LocalSource(desk.kept).fetch(None)
