"""Numbered roster files: whole or not there, and never only in the database."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gateway.errors import StoreDamaged, StoreUnavailable
from gateway.ports import RosterPair, RosterRevision
from gateway.store import keptrosters
from gateway.store.files import write_synced
from gateway.store.keptrosters import FOLDER_NAME, KeptRosterFiles

REVISION = RosterRevision(0, datetime(2026, 3, 2, 8, tzinfo=UTC), "token:1", "edited", ("Berth 12 → Berth 13",), "9f2c")


def pair(number: int, groups: bytes | None = b"[groups.a]\n") -> RosterPair:
    return RosterPair(f"serial,holder,rights\n{number},x,\n".encode(), groups)


async def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    """Byte by byte, under rising numbers, with who, when and what; also by another opening."""
    kept = KeptRosterFiles(tmp_path)
    assert await kept.newest() is None
    first = await kept.keep(pair(1), REVISION)
    second = await kept.keep(pair(2, None), replace(REVISION, words=("später ✓",)))
    assert (first.number, second.number) == (1, 2)
    again = KeptRosterFiles(tmp_path)
    assert await again.newest() == (second, pair(2, None))
    assert await again.revisions() == (second, first)
    assert await again.revisions(before=2, limit=5) == (first,)
    assert await again.load(1) == pair(1)
    assert await again.load(3) is None
    assert (tmp_path / FOLDER_NAME / "000001" / "roster.csv").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("name", ["roster.csv", "groups.toml", "about.json"])
@pytest.mark.parametrize("damage", [b"", b"{}", b"garbage\xff", None])
async def test_nothing_older_stands_in_for_a_damaged_revision(tmp_path: Path, name: str, damage: bytes | None) -> None:
    """It is said; the next one is the newest, and the damaged one's number is never given again."""
    kept = KeptRosterFiles(tmp_path)
    await kept.keep(pair(1), REVISION)
    await kept.keep(pair(2), REVISION)
    file = tmp_path / FOLDER_NAME / "000002" / name
    if damage is None:
        file.unlink()
    else:
        file.write_bytes(damage)
    with pytest.raises(StoreDamaged, match="Revision 2"):
        await kept.newest()
    assert await kept.load(2) is None
    third = await kept.keep(pair(3), REVISION)
    assert (third.number, await kept.newest()) == (3, (third, pair(3)))


async def test_a_cut_while_writing_leaves_the_one_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At every step of writing: what is there is whole, and the next edit goes on."""
    kept = KeptRosterFiles(tmp_path)
    first = await kept.keep(pair(1), REVISION)
    steps = 0
    real = write_synced

    for cut in range(3):

        def dying(path: Path, content: bytes, cut: int = cut) -> None:
            nonlocal steps
            if steps == cut:
                path.write_bytes(content[: len(content) // 2])
                raise OSError(5, "power cut")
            steps += 1
            real(path, content)

        steps = 0
        monkeypatch.setattr(keptrosters, "write_synced", dying)
        with pytest.raises(StoreUnavailable):
            await kept.keep(pair(2), REVISION)
        assert await KeptRosterFiles(tmp_path).newest() == (first, pair(1))
    monkeypatch.setattr(keptrosters, "write_synced", real)
    assert (await kept.keep(pair(2), REVISION)).number == 2
    assert sorted(entry.name for entry in (tmp_path / FOLDER_NAME).iterdir()) == ["000001", "000002"]


async def test_old_files_go_and_their_story_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the oldest nothing is left."""
    monkeypatch.setattr(keptrosters, "KEPT_FILES", 2)
    monkeypatch.setattr(keptrosters, "KEPT_REVISIONS", 4)
    kept = KeptRosterFiles(tmp_path)
    for number in range(1, 7):
        await kept.keep(pair(number), REVISION)
    assert [each.number for each in await kept.revisions()] == [6, 5, 4, 3]
    assert [await kept.load(number) is not None for number in (6, 5, 4, 3, 2)] == [True, True, False, False, False]


async def test_a_folder_that_is_none_is_said(tmp_path: Path) -> None:
    """As a store that can't keep anything."""
    (tmp_path / FOLDER_NAME).write_text("a file in its place")
    with pytest.raises(StoreUnavailable):
        await KeptRosterFiles(tmp_path).keep(pair(1), REVISION)
    shutil.rmtree(tmp_path, ignore_errors=True)
