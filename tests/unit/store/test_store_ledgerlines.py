"""The ledger's file: each line counts or doesn't, whatever happens to the others."""

from __future__ import annotations

import errno
import os
import zlib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.store.ledgerlines import LedgerLines, read_lines

ENTRIES: list[dict[str, Any]] = [{"type": "revoked", "serial": n, "who": "Ångström"} for n in range(1, 4)]


def written(path: Path, entries: list[dict[str, Any]]) -> bytes:
    lines = LedgerLines(path)
    lines.open()
    for entry in entries:
        lines.append(entry)
    lines.close()
    return path.read_bytes()


def opened(path: Path) -> tuple[list[dict[str, Any]], tuple[int, ...], bool, str]:
    lines = LedgerLines(path)
    reading, aside = lines.open()
    lines.close()
    return list(reading.entries), reading.damaged, reading.torn, aside


def test_lines_are_as_documented(tmp_path: Path) -> None:
    """Eight hex digits of CRC-32 (zlib's), a blank, canonical JSON, a line feed; for the owner alone."""
    content = written(tmp_path / "ledger", [{"b": 1, "a": "x"}])
    text = b'{"a":"x","b":1}'
    assert content == b"%08x %s\n" % (zlib.crc32(text), text)
    assert (tmp_path / "ledger").stat().st_mode & 0o777 == 0o600


def test_a_last_line_cut_at_any_byte_is_dropped_and_told(tmp_path: Path) -> None:
    """Whatever a power cut leaves of the last line, the lines before it hold and the next one is not glued to it."""
    path = tmp_path / "ledger"
    content = written(path, ENTRIES)
    start = content[:-1].rindex(b"\n") + 1
    for cut in range(start, len(content)):
        path.write_bytes(content[:cut])
        assert opened(path) == (ENTRIES[:2], (), cut > start, ""), f"cut after byte {cut}"
        assert written(path, [{"type": "next"}]).startswith(content[:start])
        assert opened(path) == ([*ENTRIES[:2], {"type": "next"}], (), False, "")


def test_any_damaged_byte_costs_one_line_at_most(tmp_path: Path) -> None:
    """A flipped byte in the middle is told with its line; the rest holds, and the file as found is kept."""
    path = tmp_path / "ledger"
    content = written(path, ENTRIES)
    second = range(content.index(b"\n") + 1, content[:-1].rindex(b"\n"))
    for place in second:
        damaged = bytearray(content)
        damaged[place] ^= 0x01
        path.write_bytes(damaged)
        entries, numbers, torn, aside = opened(path)
        assert [entries[0], entries[-1]] == [ENTRIES[0], ENTRIES[2]], f"byte {place}"
        assert len(entries) == 2
        assert numbers
        assert not torn
        assert (tmp_path / aside).read_bytes() == damaged
        assert opened(path) == (entries, (), False, ""), "told once, then clean"
        (tmp_path / aside).unlink()


@settings(deadline=None)  # a busy machine is no fault
@given(st.binary(max_size=300))
def test_rubbish_is_never_taken_for_a_line(rubbish: bytes) -> None:
    """Bytes that nobody wrote give no entry and no crash."""
    reading = read_lines(rubbish)
    assert reading.entries == ()
    assert len(reading.damaged) == rubbish.count(b"\n")


@settings(deadline=None)  # a busy machine is no fault
@given(st.lists(st.binary(max_size=40).filter(lambda line: b"\n" not in line), max_size=4), st.integers(0, 4))
def test_rubbish_between_good_lines_leaves_them(
    tmp_path_factory: pytest.TempPathFactory, rubbish: list[bytes], at: int
) -> None:
    """A good line is found among any others."""
    good = b'%08x {"type":"x"}' % zlib.crc32(b'{"type":"x"}')
    rubbish.insert(min(at, len(rubbish)), good)
    assert {"type": "x"} in read_lines(b"\n".join(rubbish) + b"\n").entries


@pytest.mark.parametrize("failing", ["write", "fsync"])
def test_a_failed_write_does_not_count_and_the_file_is_written_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    """After a failed write or sync the file is not trusted: the next line goes with all others to a new one."""
    path = tmp_path / "ledger"
    lines = LedgerLines(path)
    lines.open()
    lines.append(ENTRIES[0])

    def fail(*_: object) -> int:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as broken:
        broken.setattr(os, failing, fail)
        with pytest.raises(OSError, match="Input/output"):
            lines.append(ENTRIES[1])
    inode = path.stat().st_ino
    lines.append(ENTRIES[2])
    assert path.stat().st_ino != inode
    lines.close()
    assert opened(path) == ([ENTRIES[0], ENTRIES[2]], (), False, "")


def test_a_failed_rewrite_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Compaction that fails loses nothing, and later lines reach the file that counts."""
    path = tmp_path / "ledger"
    lines = LedgerLines(path)
    lines.open()
    lines.append(ENTRIES[0])

    def fail(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(Path, "rename", fail)
        with pytest.raises(OSError, match="No space"):
            lines.rewrite([])
    assert opened(path)[0] == [ENTRIES[0]]
    lines.append(ENTRIES[1])
    lines.close()
    assert opened(path)[0] == ENTRIES[:2]


def test_every_line_is_synced_before_it_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One sync a line; a new file also syncs its folder."""
    synced: list[str] = []
    real = os.fsync

    def fsync(descriptor: int) -> None:
        synced.append(os.path.basename(os.readlink(f"/proc/self/fd/{descriptor}")))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    lines = LedgerLines(tmp_path / "ledger")
    lines.open()
    assert synced == ["ledger.part", tmp_path.name]
    lines.append(ENTRIES[0])
    lines.append(ENTRIES[1])
    lines.close()
    assert synced[2:] == ["ledger", "ledger"]
