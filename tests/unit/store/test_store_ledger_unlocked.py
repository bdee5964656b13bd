"""Which boards are unlocked for people at work, in the ledger: over a restart, and over a ledger written anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.store import ledger as ledger_module
from gateway.store.ledger import LedgerFile
from gateway.store.reserve import Reserve


async def opened(folder: Path) -> LedgerFile:
    ledger = LedgerFile(folder / "ledger", Reserve(folder / "reserve", 4096))
    await ledger.open()
    return ledger


async def test_known_after_a_restart_until_noted_as_locked(tmp_path: Path) -> None:
    """One line each, and none for what is known already."""
    ledger = await opened(tmp_path)
    await ledger.note_unlocked("slip-gate")
    await ledger.note_unlocked("slip-gate")
    await ledger.note_unlocked("car-park")
    await ledger.note_locked("car-park")
    await ledger.note_locked("boat-hoist")
    await ledger.close()
    assert len((tmp_path / "ledger").read_bytes().splitlines()) == 3
    again = await opened(tmp_path)
    assert again.unlocked() == {"slip-gate"}
    await again.close()


async def test_still_there_when_the_ledger_was_written_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines that no longer matter go, this one stays."""
    monkeypatch.setattr(ledger_module, "_COMPACT_LINES", 3)
    ledger = await opened(tmp_path)
    await ledger.note_unlocked("slip-gate")
    for _ in range(4):
        await ledger.note_unlocked("car-park")
        await ledger.note_locked("car-park")
    await ledger.close()
    again = await opened(tmp_path)
    assert again.unlocked() == {"slip-gate"}
    assert len((tmp_path / "ledger").read_bytes().splitlines()) == 1
    await again.close()
