"""Names of outputs in the ledger: over a restart, a ledger written anew, and a look from outside."""

from __future__ import annotations

from pathlib import Path

import pytest

from gateway.domain.output_names import CalledOutput, OutputNaming
from gateway.store import ledger as ledger_module
from gateway.store.ledger import LedgerFile
from gateway.store.ledgerlook import look_at_namings
from gateway.store.reserve import Reserve

SLIP = OutputNaming("slip-gate", (CalledOutput(1, "Tür"),), (CalledOutput(1, "gate"),))
SHED = OutputNaming("boat-shed", (CalledOutput(2, "door"),))


async def opened(folder: Path) -> LedgerFile:
    ledger = LedgerFile(folder / "ledger", Reserve(folder / "reserve", 4096))
    await ledger.open()
    return ledger


async def test_known_after_a_restart_the_last_of_each_receiver(tmp_path: Path) -> None:
    """One line has all names of a receiver."""
    ledger = await opened(tmp_path)
    await ledger.keep_naming(OutputNaming("slip-gate", (CalledOutput(1, "slip"),)))
    await ledger.keep_naming(SHED)
    await ledger.keep_naming(SLIP)
    await ledger.close()
    again = await opened(tmp_path)
    assert again.namings() == {"slip-gate": SLIP, "boat-shed": SHED}
    await again.close()


async def test_still_there_when_the_ledger_was_written_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines that no longer matter go, the last one stays."""
    monkeypatch.setattr(ledger_module, "_COMPACT_LINES", 3)
    ledger = await opened(tmp_path)
    for number in range(6):
        await ledger.keep_naming(OutputNaming("slip-gate", (CalledOutput(1, f"slip-{number}"),)))
    await ledger.keep_naming(SLIP)
    await ledger.close()
    again = await opened(tmp_path)
    assert again.namings() == {"slip-gate": SLIP}
    assert len((tmp_path / "ledger").read_bytes().splitlines()) == 1
    await again.close()


async def test_looked_at_from_outside_it_stays_as_it_is(tmp_path: Path) -> None:
    """Torn or damaged lines are passed over and left; without a ledger there is nothing."""
    assert list(look_at_namings(tmp_path)) == []
    ledger = await opened(tmp_path)
    await ledger.note_unlocked("slip-gate")
    await ledger.keep_naming(SHED)
    await ledger.keep_naming(SLIP)
    await ledger.close()
    with (tmp_path / "ledger").open("ab") as file:
        file.write(b"00000000 {}\ntorn")
    before = (tmp_path / "ledger").read_bytes()
    assert list(look_at_namings(tmp_path)) == [SHED, SLIP]
    assert (tmp_path / "ledger").read_bytes() == before
