"""Kept rosters: the bytes as they were fetched, or nothing."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from gateway.ports import Fetched
from gateway.store.opening import Store
from tests.fakes.store_samples import both_lives

Opener = Callable[[], Awaitable[Store]]
ROSTER = Fetched(b"\xef\xbb\xbfserial;holder\r\n48231907;Berth 12\r\n", b"[groups]\n", '"etag-1"')


def digest(number: int) -> str:
    return f"{number:064x}"


async def test_the_bytes_come_back_as_they_were_fetched(store: Store, reopen: Opener) -> None:
    """With and without groups, also after a restart; an unknown digest is None."""
    plain = Fetched(b"serial,holder\n", None, "")
    await store.roster_files.keep(digest(1), ROSTER)
    await store.roster_files.keep(digest(2), plain)
    async for opened in both_lives(store, reopen):
        assert await opened.roster_files.load(digest(1)) == ROSTER
        assert await opened.roster_files.load(digest(2)) == plain
        assert await opened.roster_files.load(digest(3)) is None


async def test_the_last_ten_are_kept(store: Store, folder: Path) -> None:
    """The oldest go; one that is accepted again is the newest again and stands once."""
    for number in [*range(1, 11), 1, 11, 1]:
        await store.roster_files.keep(digest(number), ROSTER)
    kept = [number for number in range(1, 12) if await store.roster_files.load(digest(number))]
    assert kept == [1, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    assert len(entries(folder)) == 10


async def test_the_same_roster_again_writes_nothing(store: Store, folder: Path) -> None:
    """A fetch every quarter of an hour does not wear the card."""
    await store.roster_files.keep(digest(1), ROSTER)
    before = entries(folder)
    await store.roster_files.keep(digest(1), ROSTER)
    assert entries(folder) == before == [f"000001-{digest(1)}"]


@pytest.mark.parametrize("name", ["roster", "groups", "about.json"])
async def test_a_damaged_file_is_no_roster(store: Store, folder: Path, name: str) -> None:
    """Altered, cut or missing: None, so that nothing is planned from it; keeping it again heals it."""
    await store.roster_files.keep(digest(1), ROSTER)
    path = folder / "rosters" / f"000001-{digest(1)}" / name
    for spoil in (flip, cut, remove):
        spoil(path)
        assert await store.roster_files.load(digest(1)) is None
    await store.roster_files.keep(digest(1), ROSTER)
    assert await store.roster_files.load(digest(1)) == ROSTER


async def test_a_digest_is_never_a_path(store: Store) -> None:
    """Nothing outside the folder can be named."""
    with pytest.raises(ValueError, match="not a digest"):
        await store.roster_files.keep("../x", ROSTER)
    assert await store.roster_files.load("../x") is None


async def test_what_was_half_written_is_no_roster(store: Store, folder: Path) -> None:
    """A folder that was being written when the power failed is passed over and replaced."""
    await store.roster_files.keep(digest(1), ROSTER)
    (folder / "rosters" / f"000002-{digest(2)}.part").mkdir()
    assert await store.roster_files.load(digest(2)) is None
    await store.roster_files.keep(digest(2), ROSTER)
    assert await store.roster_files.load(digest(2)) == ROSTER


def entries(folder: Path) -> list[str]:
    return sorted(entry.name for entry in (folder / "rosters").iterdir())


def flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0x01
    path.write_bytes(content)


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-2])


def remove(path: Path) -> None:
    path.unlink()
