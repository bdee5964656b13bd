"""The files of changed link passwords."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from gateway.errors import StoreUnavailable
from gateway.ports import KeptPasswords
from gateway.store.passwords import PasswordFile

KEPT = KeptPasswords("pontoon7", ("capstan8", "pontoon7"))


def test_what_is_kept_is_there_for_the_next_start(tmp_path: Path) -> None:
    """In a file and a folder that are their owner's alone; another receiver has its own."""
    first = PasswordFile(tmp_path, "slip-gate")
    assert first.load() is None
    first.keep(KEPT)
    assert first.load() == PasswordFile(tmp_path, "slip-gate").load() == KEPT
    assert PasswordFile(tmp_path, "car-park").load() is None
    path = tmp_path / "passwords" / "slip-gate"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"given": 1}', b"\xff"])
def test_a_damaged_file_is_as_none(tmp_path: Path, content: bytes) -> None:
    """The settings' password is then tried, and can be mended."""
    PasswordFile(tmp_path, "slip-gate").keep(KEPT)
    (tmp_path / "passwords" / "slip-gate").write_bytes(content)
    assert PasswordFile(tmp_path, "slip-gate").load() is None


def test_a_place_that_cannot_be_written_changes_nothing(tmp_path: Path) -> None:
    """Said in words that hold no password; what was kept before still is."""
    book = PasswordFile(tmp_path, "slip-gate")
    book.keep(KEPT)
    (tmp_path / "passwords" / "slip-gate.part").mkdir()
    with pytest.raises(StoreUnavailable, match="can't be kept") as caught:
        book.keep(KeptPasswords("pontoon7", ("windlass",)))
    assert "windlass" not in str(caught.value)
    assert book.load() == PasswordFile(tmp_path, "slip-gate").load() == KEPT
