"""The revocation list that was last followed: kept apart from the roster's, through restarts and rewriting."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from gateway.ports import RosterAcceptance
from gateway.store.ledger import LedgerFile
from gateway.store.reserve import Reserve

MORNING = datetime(2026, 3, 2, 8, tzinfo=UTC)


async def test_the_last_list_is_there_again(tmp_path: Path) -> None:
    """Beside the roster's own line, also after so many lines that the file is written anew."""
    roster = RosterAcceptance("a" * 64, MORNING, 12)
    ledger = LedgerFile(tmp_path / "ledger", Reserve(tmp_path / "reserve"))
    await ledger.open()
    assert ledger.accepted_list is None
    await ledger.accept_roster(roster)
    for revision in range(1, 520):
        await ledger.accept_list(RosterAcceptance("b" * 64, MORNING, revision))
    await ledger.close()
    for _ in range(2):
        ledger = LedgerFile(tmp_path / "ledger", Reserve(tmp_path / "reserve"))
        assert await ledger.open() == ()
        assert ledger.accepted_list == RosterAcceptance("b" * 64, MORNING, 519)
        assert ledger.accepted == roster
        await ledger.close()
