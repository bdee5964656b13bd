"""The ledger: revocations, accepted roster, tokens and epochs outlive everything else."""

from __future__ import annotations

import errno
import os
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from gateway.domain.revocation import Revocation, RevocationState
from gateway.domain.wait import RosterWait
from gateway.errors import StoreUnavailable
from gateway.ports import RosterAcceptance, Token
from gateway.store.ledger import KeptToken, LedgerFile, Opened
from gateway.store.ledgerlines import read_lines
from gateway.store.reserve import Reserve
from tests.fakes.store_samples import MORNING, a_revocation, a_slot


@pytest.fixture
async def ledger(tmp_path: Path) -> AsyncIterator[LedgerFile]:
    opened, _ = await open_ledger(tmp_path)
    yield opened
    await opened.close()


async def open_ledger(folder: Path) -> tuple[LedgerFile, tuple[str, ...]]:
    ledger = LedgerFile(folder / "ledger", Reserve(folder / "reserve", 4096))
    return ledger, await ledger.open()


async def reread(folder: Path) -> LedgerFile:
    """The same file through other eyes."""
    ledger, notices = await open_ledger(folder)
    assert notices == ()
    await ledger.close()
    return ledger


def lines(folder: Path) -> list[str]:
    return [entry["type"] for entry in read_lines((folder / "ledger").read_bytes()).entries]


async def test_a_revocation_stands_when_revoke_returns(ledger: LedgerFile, tmp_path: Path) -> None:
    """With its old slots, and without states, which belong to the database."""
    revocation = Revocation(7, "harbour office", "lost", MORNING, {"slip-gate": RevocationState.PENDING})
    await ledger.revoke(revocation, {"slip-gate": a_slot(3, 7)})
    for known in (ledger, await reread(tmp_path)):
        assert known.revocations() == {7: Revocation(7, "harbour office", "lost", MORNING)}
        assert known.old_slots(7) == {"slip-gate": a_slot(3, 7)}
        assert known.old_slots(8) == {}


async def test_lifting_ends_it_for_this_serial_alone(ledger: LedgerFile, tmp_path: Path) -> None:
    """The line of the revocation stays, the one of the lifting says that it is over."""
    await ledger.revoke(a_revocation(7), {})
    await ledger.revoke(a_revocation(8), {})
    await ledger.lift(7, "harbour office", "found in the workshop", MORNING)
    for known in (ledger, await reread(tmp_path)):
        assert set(known.revocations()) == {8}
    assert lines(tmp_path) == ["revoked", "revoked", "lifted"]


async def test_revoked_twice_keeps_what_was_held_first(ledger: LedgerFile, tmp_path: Path) -> None:
    """The second time a receiver may hold nothing any more; what to give back is still known, the id is another."""
    await ledger.revoke(a_revocation(7), {"slip-gate": a_slot(3, 7)})
    first = ledger.revocation_id(7)
    await ledger.revoke(a_revocation(7), {"car-park": a_slot(4, 7)})
    assert ledger.revocation_id(7) not in (None, first)
    for known in (ledger, await reread(tmp_path)):
        assert known.old_slots(7) == {"slip-gate": a_slot(3, 7), "car-park": a_slot(4, 7)}
        assert known.revocation_id(7) == ledger.revocation_id(7)


async def test_the_accepted_roster_is_the_newest(ledger: LedgerFile, tmp_path: Path) -> None:
    """Digest and revision of the last acceptance, None before the first."""
    assert ledger.accepted is None
    await ledger.accept_roster(RosterAcceptance("a" * 64, MORNING))
    newest = RosterAcceptance("b" * 64, MORNING + timedelta(days=1), 12)
    await ledger.accept_roster(newest)
    for known in (ledger, await reread(tmp_path)):
        assert known.accepted == newest


async def test_where_the_roster_waits_is_known_after_a_restart(ledger: LedgerFile, tmp_path: Path) -> None:
    """One wait per receiver, the newest; ended it is gone, also from a ledger written anew."""
    first = RosterWait("slip-gate", "restore", MORNING, "local:0", "20260302T080000Z-001-slip-gate", "p1")
    await ledger.begin_wait(first)
    await ledger.begin_wait(RosterWait("car-park", "reset", MORNING, "local:0"))
    await ledger.begin_wait(replace(first, kept_digest="d1"))
    await ledger.end_wait("car-park")
    for known in (ledger, await reread(tmp_path)):
        assert known.waits() == {"slip-gate": replace(first, kept_digest="d1")}
    for _ in range(600):
        await ledger.note_opened(Opened("e1", "m"))
    await ledger.close()
    assert (await reread(tmp_path)).waits() == {"slip-gate": replace(first, kept_digest="d1")}
    assert lines(tmp_path) == ["wait-began", "opened"]


async def test_a_full_disk_acknowledges_nothing(
    ledger: LedgerFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When not even the reserve helps, the caller hears of it and the revocation is not in force."""

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    await ledger.revoke(a_revocation(7), {})
    with monkeypatch.context() as broken:
        broken.setattr(os, "write", full)
        broken.setattr(os, "fsync", full)
        with pytest.raises(StoreUnavailable) as failed:
            await ledger.revoke(a_revocation(8), {})
    assert "Free some disk space" in failed.value.remedy
    assert set(ledger.revocations()) == {7}
    await ledger.revoke(a_revocation(9), {})
    for known in (ledger, await reread(tmp_path)):
        assert set(known.revocations()) == {7, 9}


async def test_a_revocation_takes_the_reserve_when_the_disk_is_full(
    ledger: LedgerFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the reserve lies on the disk nothing fits; without it the revocation is written, and it is made again."""
    reserve, real = tmp_path / "reserve", os.fsync

    def full_while_reserved(descriptor: int) -> None:
        if reserve.exists():
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(descriptor)

    assert reserve.stat().st_size == 4096
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", full_while_reserved)
        await ledger.revoke(a_revocation(7), {})
    assert not reserve.exists()
    assert set((await reread(tmp_path)).revocations()) == {7}
    await ledger.revoke(a_revocation(8), {})
    assert reserve.stat().st_size == 4096


async def test_a_torn_line_is_told_and_the_rest_holds(ledger: LedgerFile, tmp_path: Path) -> None:
    """The sentence says what may have to be done again."""
    await ledger.revoke(a_revocation(7), {})
    await ledger.revoke(a_revocation(8), {})
    cut(tmp_path / "ledger", 1)
    torn, notices = await open_ledger(tmp_path)
    await torn.close()
    assert set(torn.revocations()) == {7}
    assert len(notices) == 1
    assert "cut by a power failure" in notices[0]
    assert "do it again" in notices[0]


async def test_a_damaged_line_is_told_with_its_number_and_kept_aside(ledger: LedgerFile, tmp_path: Path) -> None:
    """Revocations around it hold; the sentence names line and file."""
    for serial in (7, 8, 9):
        await ledger.revoke(a_revocation(serial), {})
    spoil_line(tmp_path / "ledger", 2)
    damaged, notices = await open_ledger(tmp_path)
    await damaged.close()
    assert set(damaged.revocations()) == {7, 9}
    assert "damaged lines 2 are passed over" in notices[0]
    assert "ledger.damaged-1" in notices[0]
    assert set((await reread(tmp_path)).revocations()) == {7, 9}


async def test_lines_of_a_newer_program_are_kept_and_change_nothing(ledger: LedgerFile, tmp_path: Path) -> None:
    """An unknown type is passed over in silence, a known type of another shape is told; neither is thrown away."""
    ledger._lines.append({"type": "quarantined", "serial": 1})
    ledger._lines.append({"type": "revoked", "serial": "seven"})
    newer, notices = await open_ledger(tmp_path)
    await newer.close()
    assert newer.revocations() == {}
    assert "1 lines" in notices[0]
    assert lines(tmp_path) == ["quarantined", "revoked"]


async def test_what_no_longer_matters_is_left_out_in_the_end(ledger: LedgerFile, tmp_path: Path) -> None:
    """After many lines the file is written anew at a start, and says the same."""
    await ledger.revoke(a_revocation(7), {"slip-gate": a_slot(3, 7)})
    await ledger.add_token(KeptToken(Token("t1", "Yard", frozenset({"view"}), MORNING), "ab" * 32))
    for number in range(600):
        await ledger.note_opened(Opened("e1", f"m{number}"))
    small = await reread(tmp_path)
    assert lines(tmp_path) == ["revoked", "token-added", "opened"]
    for known in (small, await reread(tmp_path)):
        assert known.revocations() == ledger.revocations()
        assert known.old_slots(7) == ledger.old_slots(7)
        assert known.revocation_id(7) == ledger.revocation_id(7)
        assert known.tokens() == ledger.tokens()
        assert known.opened == Opened("e1", "m599")


async def test_a_ledger_that_can_not_be_opened_says_what_to_do(tmp_path: Path) -> None:
    """No start without revocations."""
    (tmp_path / "ledger").mkdir()
    ledger = LedgerFile(tmp_path / "ledger", Reserve(tmp_path / "reserve", 4096))
    with pytest.raises(StoreUnavailable) as failed:
        await ledger.open()
    await ledger.close()
    assert failed.value.remedy


def cut(path: Path, count: int) -> None:
    path.write_bytes(path.read_bytes()[:-count])


def spoil_line(path: Path, number: int) -> None:
    content = path.read_bytes().split(b"\n")
    content[number - 1] = content[number - 1].replace(b"revoked", b"revoqed")
    path.write_bytes(b"\n".join(content))
