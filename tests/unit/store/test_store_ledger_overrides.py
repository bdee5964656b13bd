"""Local overrides outlive the database: they are in the ledger, and survive its being written anew."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from gateway.domain.enrolment import Override
from gateway.domain.roster import Right
from gateway.store.ledger import LedgerFile
from gateway.store.reserve import Reserve

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def override(serial: int, group: str = "") -> Override:
    rights = (Right("slip-gate", "1", "gate"),)
    return Override(serial, f"Berth {serial}", "two-button", group, rights, "", "token:t1", NOON, "9f2c")


async def opened(folder: Path) -> LedgerFile:
    ledger = LedgerFile(folder / "ledger", Reserve(folder / "reserve"))
    assert await ledger.open() == ()
    return ledger


async def test_kept_replaced_and_ended_over_a_restart(tmp_path: Path) -> None:
    """The newest of a serial counts; what has ended is gone."""
    ledger = await opened(tmp_path)
    for each in (override(1), override(2), override(1, "berths"), override(3)):
        await ledger.keep_override(each)
    await ledger.end_override(3)
    await ledger.close()
    ledger = await opened(tmp_path)
    assert ledger.overrides() == {2: override(2), 1: override(1, "berths")}
    await ledger.close()


async def test_still_there_when_the_ledger_was_written_anew(tmp_path: Path) -> None:
    """Hundreds of lines that no longer matter are left out at the start; these matter."""
    ledger = await opened(tmp_path)
    for _ in range(300):
        await ledger.keep_override(override(7))
        await ledger.end_override(7)
    await ledger.keep_override(override(7, "crew"))
    await ledger.close()
    size = (tmp_path / "ledger").stat().st_size
    ledger = await opened(tmp_path)
    assert (tmp_path / "ledger").stat().st_size < size / 100
    assert ledger.overrides() == {7: override(7, "crew")}
    await ledger.close()
