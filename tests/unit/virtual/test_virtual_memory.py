"""What outlives the power: the log file, power cuts in the middle of a write, CRCs and revisions."""

from __future__ import annotations

import zlib
from pathlib import Path

import pytest

from gateway.domain.receiver import OutputMode
from gateway.errors import SettingsFault
from gateway.virtual.keeping import FileKeeper
from tests.unit.virtual.asking import Desk, record, window

OLD = [record(number, 100 + number, (1,), b"old") for number in range(1, 7)]
NEW = [record(number, 200 + number, (2,), b"new") for number in range(1, 7)]


def test_crc_is_the_published_one() -> None:
    """CRC-32/ISO-HDLC of `123456789` is CBF43926 (RevEng CRC catalogue)."""
    assert zlib.crc32(b"123456789") == 0xCBF43926


@pytest.mark.parametrize("after", range(7))
@pytest.mark.parametrize("kept", [True, False], ids=["file", "no file"])
def test_power_cut_in_a_slot_write_leaves_each_slot_whole(after: int, kept: bool, tmp_path: Path) -> None:
    """After a cut behind any slot of six: no answer, each slot wholly old or new, in order, and the revision tells."""
    desk = Desk(keeper=FileKeeper(tmp_path / "memory") if kept else None)
    assert desk.write(0x0100, window(1, *OLD)) == 0
    desk.unit.faults.power_cut_after, desk.unit.faults.power_cut_s = after, 0.5
    assert desk.write(0x0100, window(2, *NEW)) == -1
    assert desk.ask(bytes.fromhex("0400000001")) == b""
    desk.now += 0.5
    assert desk.long(0x0001) == 2  # boot count
    stands = NEW[:after] + OLD[after:]
    assert desk.read(4, 0x4000, 120) == b"".join(stands)
    assert desk.revision == (3 if after else 2)
    assert desk.long(0x0102) == zlib.crc32(b"".join(stands) + bytes(26 * 40))
    if kept:
        desk.receiver.memory.close()
        again = Desk(keeper=FileKeeper(tmp_path / "memory"))
        assert again.read(4, 0x4000, 120) == b"".join(stands)
        assert again.revision == desk.revision
        assert again.long(0x0001) == 3


def test_a_torn_file_is_wholly_old_or_new(tmp_path: Path) -> None:
    """Cut the file anywhere in a write: every slot reads old or new, the new ones first, never a mixture."""
    path = tmp_path / "memory"
    desk = Desk(keeper=FileKeeper(path))
    desk.write(0x0100, window(1, *OLD))
    before = path.stat().st_size
    desk.write(0x0100, window(2, *NEW))
    whole = path.read_bytes()
    desk.receiver.memory.close()
    seen = set()
    line_ends = [place for place in range(before, len(whole)) if whole[place : place + 1] == b"\n"]
    cuts = {before, len(whole), *range(before, len(whole), 13), *line_ends, *(place + 1 for place in line_ends)}
    for size in sorted(cuts):
        path.write_bytes(whole[:size])
        again = Desk(keeper=FileKeeper(path))
        read = again.read(4, 0x4000, 120)
        news = sum(read[40 * n : 40 * n + 40] == NEW[n] for n in range(6))
        assert read == b"".join(NEW[:news] + OLD[news:])
        assert again.revision == (3 if news else 2)
        again.receiver.memory.close()
        seen.add(news)
    assert seen == set(range(7))


def test_everything_in_the_memory_outlives_the_process(tmp_path: Path) -> None:
    """Slots, their change revisions, settings, password and selectors are there again; the boot count rises."""
    desk = Desk(keeper=FileKeeper(tmp_path / "memory"))
    desk.write(0x0100, window(1, record(5, 55, (3,), b"Boat hoist")))
    desk.write_one(0x0002, 90)
    desk.write_one(0x0008, 0)
    desk.write(0x0028, b"quay\0\0\0\0")
    desk.receiver.set_mode(3, OutputMode.LATCHING, desk.now)
    revision = desk.revision
    desk.receiver.memory.close()

    again = Desk(keeper=FileKeeper(tmp_path / "memory"))
    assert again.long(0x0001) == 2
    assert again.revision == revision
    assert again.word(0x000D) == 0b01000101
    assert again.word(0x000E) == 0b001
    assert again.write(0x0020, b"quay\0\0\0\0") == 0
    assert again.read(4, 0x4000 + 80, 20) == record(5, 55, (3,), b"Boat hoist")
    assert again.read(3, 0x0002, 1) == b"\0\x5a"
    assert again.write(0x0100, window(1, record(5, 56))) == 4
    again.receiver.memory.close()


def test_a_factory_reset_outlives_the_process(tmp_path: Path) -> None:
    """What was freed stays free, and still counts as changed."""
    desk = Desk(keeper=FileKeeper(tmp_path / "memory"))
    desk.write(0x0100, window(1, record(1, 11)))
    desk.write(0x0040, b"CLEA")
    desk.receiver.memory.close()
    again = Desk(keeper=FileKeeper(tmp_path / "memory"))
    assert again.read(4, 0x4000, 20) == b"\0\1" + bytes(38)
    assert again.revision == 3
    assert again.write(0x0100, window(2, record(1, 12))) == 4
    again.receiver.memory.close()


def test_a_memory_file_that_cannot_be_is_said(tmp_path: Path) -> None:
    """The message names the file and what to do."""
    with pytest.raises(SettingsFault, match="can't be used"):
        Desk(keeper=FileKeeper(tmp_path / "missing" / "memory"))


@pytest.mark.parametrize("content", [b"serial,holder\n1,x\n", b"\x00" * 40, b"00000000 {}\n"])
def test_another_file_is_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    """Whoever names a roster in place of a memory still has the roster."""
    path = tmp_path / "roster.csv"
    path.write_bytes(content)
    with pytest.raises(SettingsFault, match="is no memory of a virtual receiver"):
        FileKeeper(path).load()
    assert path.read_bytes() == content
