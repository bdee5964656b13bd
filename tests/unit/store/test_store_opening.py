"""Opening the state folder: a second daemon, damage, copies put back, and what is told about each."""

from __future__ import annotations

import asyncio
import os
import shutil
import sqlite3
from collections.abc import Awaitable, Callable
from datetime import timedelta
from pathlib import Path

import pytest

from gateway.domain.events import EventDraft, EventName
from gateway.errors import Refused, StoreError, StoreTooNew
from gateway.ports import Commit, RosterAcceptance
from gateway.store.opening import Store, open_store
from tests.fakes.clock import FakeClock
from tests.fakes.store_samples import MORNING, FixedTrust, a_mirror, a_revocation

Opener = Callable[[], Awaitable[Store]]


async def fill(store: Store) -> None:
    """Events, a mirror, and all that the ledger holds."""
    await store.ledger.revoke(a_revocation(), {})
    await store.ledger.accept_roster(RosterAcceptance("d" * 64, MORNING, 3))
    await store.tokens.add("Yard", ["view"])
    await store.journal.commit(Commit((EventDraft(EventName.GATEWAY_STARTED),), mirror=a_mirror()))


async def test_a_new_folder_is_private_and_begins_an_epoch(store: Store, folder: Path) -> None:
    """0700, files 0600, nothing to tell, no event yet."""
    await fill(store)
    assert store.notices == ()
    assert store.journal.newest.number == 1
    modes = rights(folder)
    assert {modes.pop(name) for name in ("state", "receipts")} == {0o700}
    assert set(modes.values()) == {0o600}


async def test_a_folder_that_others_can_read_is_closed_to_them(folder: Path, reopen: Opener) -> None:
    """Whoever made it."""
    make(folder, 0o755)
    await reopen()
    assert rights(folder)["state"] == 0o700


async def test_a_restart_goes_on_in_the_same_epoch(store: Store, reopen: Opener) -> None:
    """Orderly ends and new starts, many times."""
    await fill(store)
    newest = store.journal.newest
    for _ in range(3):
        store = await reopen()
        assert (store.journal.newest, store.notices) == (newest, ())
        assert store.mirrors.load("slip-gate") == a_mirror()


async def test_a_second_daemon_is_sent_away_with_the_first_ones_number(
    store: Store, folder: Path, clock: FakeClock
) -> None:
    """It says who holds the folder and what to do, and disturbs nothing."""
    with pytest.raises(Refused) as refused:
        await open_store(folder, clock, FixedTrust(), boot_id="boot-1")
    assert refused.value.code == "state-in-use"
    assert f"Process {os.getpid()} " in refused.value.message
    await fill(store)


async def test_the_folder_is_free_again_after_closing_and_after_a_failed_start(
    store: Store, folder: Path, reopen: Opener, clock: FakeClock
) -> None:
    """A start that failed half-way lets go of everything."""
    await store.close()
    newer(folder / "gatepost.db")
    for _ in range(2):
        with pytest.raises(StoreTooNew):
            await open_store(folder, clock, FixedTrust(), boot_id="boot-1")


def newer(path: Path) -> None:
    db = sqlite3.connect(path)
    db.execute("pragma user_version = 99")
    db.close()


def make(folder: Path, mode: int) -> None:
    folder.mkdir(mode=mode)


def rights(folder: Path) -> dict[str, int]:
    return {entry.name: entry.stat().st_mode & 0o777 for entry in (folder, *folder.iterdir())}


@pytest.mark.parametrize("content", [b"ballast " * 1000, b"\0" * 8192])
async def test_a_damaged_database_is_set_aside_and_the_ledger_holds(
    store: Store, folder: Path, reopen: Opener, content: bytes
) -> None:
    """A new epoch that says so as its first event; revocations, roster and tokens stand; the file is kept."""
    await fill(store)
    epoch, tokens = store.journal.newest.epoch, store.tokens.list()
    await store.close()
    (folder / "gatepost.db").write_bytes(content)
    store = await reopen()
    assert "set aside as gatepost.db.damaged-1" in store.notices[0]
    assert (folder / "gatepost.db.damaged-1").read_bytes() == content
    assert store.journal.newest.epoch != epoch
    (event,) = await store.journal.read(0)
    assert (event.name, event.data["reason"]) == (EventName.JOURNAL_RESTARTED, "damaged")
    assert store.mirrors.load("slip-gate") is None
    assert store.ledger.revocations() == {a_revocation().serial: a_revocation()}
    assert store.ledger.accepted == RosterAcceptance("d" * 64, MORNING, 3)
    assert store.tokens.list() == tokens
    assert (await reopen()).notices == ()


async def test_a_second_damaged_file_does_not_replace_the_first(store: Store, folder: Path, reopen: Opener) -> None:
    """Each has a number of its own."""
    for number in (1, 2):
        await store.close()
        (folder / "gatepost.db").write_bytes(b"%d " % number * 4000)
        store = await reopen()
        assert (folder / f"gatepost.db.damaged-{number}").read_bytes().startswith(b"%d " % number)


async def test_a_missing_database_begins_a_new_epoch_and_says_so(store: Store, folder: Path, reopen: Opener) -> None:
    """The ledger knows that there was one."""
    await fill(store)
    epoch = store.journal.newest.epoch
    await store.close()
    (folder / "gatepost.db").unlink()
    store = await reopen()
    assert "is missing" in store.notices[0]
    assert store.journal.newest.epoch != epoch
    assert set(store.ledger.revocations()) == {a_revocation().serial}


async def test_an_older_copy_put_back_begins_a_new_epoch(store: Store, folder: Path, reopen: Opener) -> None:
    """Numbers that were told of are not given again under the same epoch; what the copy holds is kept."""
    await fill(store)
    store = await reopen()
    epoch = store.journal.newest.epoch
    await store.close()
    shutil.copy(folder / "gatepost.db", folder / "copy")
    store = await reopen()
    await store.journal.commit(Commit((EventDraft(EventName.LINK_LOST, "slip-gate"),)))
    assert store.journal.newest.epoch == epoch
    await store.close()
    shutil.copy(folder / "copy", folder / "gatepost.db")
    store = await reopen()
    assert "older copy" in store.notices[0]
    assert store.journal.newest.epoch != epoch
    assert [event.name for event in await store.journal.read(0)] == ["gateway.started", "journal.restarted"]
    assert {event.id.epoch for event in await store.journal.read(0)} == {store.journal.newest.epoch}


async def test_a_missing_ledger_is_told(store: Store, folder: Path, reopen: Opener) -> None:
    """Revocations are gone with it: that must not go unseen."""
    await fill(store)
    store = await reopen()
    await store.close()
    (folder / "ledger").unlink()
    store = await reopen()
    assert any("revocations and access tokens are gone" in notice for notice in store.notices)
    assert store.ledger.revocations() == {}


async def test_a_power_cut_between_the_two_marks_is_no_copy(
    store: Store, folder: Path, reopen: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The database has its new mark, the ledger still the old one: the same epoch goes on."""
    await fill(store)
    newest = store.journal.newest

    async def cut(*_: object) -> None:
        raise asyncio.CancelledError

    with monkeypatch.context() as power:
        power.setattr("gateway.store.ledger.LedgerFile.note_opened", cut)
        with pytest.raises(asyncio.CancelledError):
            await store.close()
    await store.close()
    store = await reopen()
    assert (store.journal.newest, store.notices) == (newest, ())


async def test_a_full_disk_at_the_start_still_shows_what_is_known(
    store: Store, reopen: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A known epoch needs no new mark to be read."""
    await fill(store)
    newest = store.journal.newest

    async def full(*_: object) -> None:
        from gateway.errors import StoreUnavailable  # noqa: PLC0415 - only this test needs it

        raise StoreUnavailable("The disk is full.")

    monkeypatch.setattr("gateway.store.ledger.LedgerFile.note_opened", full)
    for _ in range(2):
        store = await reopen()
        assert store.journal.newest == newest
        assert len(await store.journal.read(0)) == 1


async def test_what_was_half_written_is_swept(store: Store, folder: Path, reopen: Opener) -> None:
    """Temporary files of a power cut don't pile up."""
    await store.close()
    (folder / "ledger.part").write_bytes(b"half")
    await reopen()
    assert not (folder / "ledger.part").exists()


async def test_every_thread_answers_for_the_watchdog(store: Store) -> None:
    """`alive` returns while they work."""
    await asyncio.wait_for(store.alive(), 10)


async def test_a_folder_that_can_not_be_made_says_what_to_do(tmp_path: Path, clock: FakeClock) -> None:
    """A file where the folder should be."""
    (tmp_path / "state").write_bytes(b"")
    with pytest.raises(StoreError) as failed:
        await open_store(tmp_path / "state", clock, FixedTrust(), boot_id="boot-1")
    assert failed.value.remedy


async def test_damaged_files_are_kept_no_longer_than_presses(store: Store, folder: Path) -> None:
    """They hold what the database held; a younger one stays for whoever wants to save something from it."""
    old, young = folder / "gatepost.db.damaged-1", folder / "ledger.damaged-1"
    for path, when in ((old, MORNING - timedelta(days=100)), (young, MORNING)):
        path.write_bytes(b"x")
        os.utime(path, (when.timestamp(), when.timestamp()))
    assert await store.remove_set_aside(MORNING - timedelta(days=90)) == 1
    assert not old.exists()
    assert young.exists()
