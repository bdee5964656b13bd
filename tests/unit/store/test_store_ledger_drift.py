"""Changes by other hands outlive the database: they are in the ledger, and survive its being written anew."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from gateway.domain.drift import Drift, DriftKind
from gateway.domain.receiver import Origin, Slot
from gateway.store.ledger import LedgerFile
from gateway.store.reserve import Reserve

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
GATE = (frozenset({1}),)


def taken(serial: int, by: str = "") -> Drift:
    slot = Slot(3, serial, 4, GATE, "Berth", opaque=b"\1\0")
    return Drift(
        "slip-gate", serial, DriftKind.MISSING, NOON, Origin.BOARD, slot, None, taken=GATE, decided_by=by, revision=7
    )


async def opened(folder: Path) -> LedgerFile:
    ledger = LedgerFile(folder / "ledger", Reserve(folder / "reserve"))
    assert await ledger.open() == ()
    return ledger


async def test_kept_replaced_and_ended_over_a_restart(tmp_path: Path) -> None:
    """The newest of a receiver and serial counts; what has ended is gone, and no line is written for nothing."""
    ledger = await opened(tmp_path)
    await ledger.keep_drift([taken(1), taken(2), taken(3)])
    await ledger.keep_drift([taken(1, "office")], [("slip-gate", 3)])
    size = (tmp_path / "ledger").stat().st_size
    await ledger.keep_drift([])
    assert (tmp_path / "ledger").stat().st_size == size
    await ledger.close()
    ledger = await opened(tmp_path)
    assert ledger.drifts() == {("slip-gate", 1): taken(1, "office"), ("slip-gate", 2): taken(2)}
    await ledger.close()


async def test_still_there_when_the_ledger_was_written_anew(tmp_path: Path) -> None:
    """Hundreds of lines that no longer matter are left out at the start; these matter."""
    ledger = await opened(tmp_path)
    for _ in range(300):
        await ledger.keep_drift([taken(7)])
        await ledger.keep_drift([], [("slip-gate", 7)])
    await ledger.keep_drift([taken(7, "office")])
    await ledger.close()
    size = (tmp_path / "ledger").stat().st_size
    ledger = await opened(tmp_path)
    assert (tmp_path / "ledger").stat().st_size < size / 50
    assert ledger.drifts() == {("slip-gate", 7): taken(7, "office")}
    await ledger.close()
