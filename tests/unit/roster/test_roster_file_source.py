"""The roster at a path: tags, limits and files that are being written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gateway.clock import Clock
from gateway.errors import SourceRefused, SourceUnreachable
from gateway.ports import Fetched, NotModified, RosterSource
from gateway.roster.file_source import FileSource, read_whole
from tests.fakes.clock import FakeClock


class RestClock(FakeClock):
    """Virtual time for one sleeper that works with threads: sleeping moves the time, and may change a file."""

    def __init__(self) -> None:
        super().__init__()
        self.slept: list[float] = []
        self.meanwhile: list[bytes] = []
        self.path: Path | None = None

    async def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        if self.meanwhile and self.path is not None:
            self.path.write_bytes(self.meanwhile.pop(0))
            stamp(self.path, self, age_s=0.0)


def stamp(path: Path, clock: Clock, age_s: float) -> None:
    """Let the file have changed so long ago."""
    when = clock.now().timestamp() - age_s
    os.utime(path, (when, when))


@pytest.fixture
def clock() -> RestClock:
    return RestClock()


@pytest.fixture
def path(tmp_path: Path, clock: RestClock) -> Path:
    path = tmp_path / "people.csv"
    path.write_bytes(b"first")
    stamp(path, clock, age_s=60.0)
    clock.path = path
    return path


async def test_both_files_and_the_tag(path: Path, clock: RestClock) -> None:
    """The tag stands for both files: with it the same content is not modified, other content is fetched."""
    groups = path.with_name("groups.toml")
    groups.write_bytes(b"groups")
    stamp(groups, clock, age_s=60.0)
    source: RosterSource = FileSource(path, groups, clock=clock)
    assert source.place == str(path)
    first = await source.fetch(None)
    assert isinstance(first, Fetched)
    assert (first.roster, first.groups) == (b"first", b"groups")
    assert await source.fetch(first.tag) == NotModified()
    groups.write_bytes(b"gruops")
    stamp(groups, clock, age_s=60.0)
    second = await source.fetch(first.tag)
    assert isinstance(second, Fetched)
    assert second.groups == b"gruops"
    assert second.tag != first.tag


async def test_without_a_groups_file(path: Path, clock: RestClock) -> None:
    """No path, no bytes; an empty groups file is something else."""
    source = FileSource(path, clock=clock)
    fetched = await source.fetch(None)
    assert isinstance(fetched, Fetched)
    assert fetched.groups is None
    assert clock.slept == []


async def test_a_file_changed_just_now_is_looked_at_twice(path: Path, clock: RestClock) -> None:
    """A second of rest, then the same stamp: the file is whole."""
    stamp(path, clock, age_s=0.1)
    fetched = await FileSource(path, clock=clock).fetch(None)
    assert isinstance(fetched, Fetched)
    assert clock.slept == [1.0]


async def test_a_file_that_grows_is_read_when_it_rests(path: Path, clock: RestClock) -> None:
    """What is taken is the last content, never the half that stood there first."""
    stamp(path, clock, age_s=0.1)
    clock.meanwhile = [b"first sec", b"first second"]
    fetched = await FileSource(path, clock=clock).fetch(None)
    assert isinstance(fetched, Fetched)
    assert fetched.roster == b"first second"
    assert clock.slept == [1.0, 1.0, 1.0]


async def test_a_file_that_never_rests_is_unreachable(path: Path, clock: RestClock) -> None:
    """After five looks it is left for the next time."""
    stamp(path, clock, age_s=0.1)
    clock.meanwhile = [b"x" * n for n in range(20)]
    with pytest.raises(SourceUnreachable, match="changes while it is read"):
        await FileSource(path, clock=clock).fetch(None)
    assert len(clock.slept) == 5


async def test_a_missing_file_is_unreachable(tmp_path: Path, clock: RestClock) -> None:
    """The share may come back: unreachable, with what to do."""
    with pytest.raises(SourceUnreachable) as error:
        await FileSource(tmp_path / "nothing.csv", clock=clock).fetch(None)
    assert "correct the path" in error.value.remedy


async def test_a_missing_groups_file_is_unreachable(path: Path, clock: RestClock) -> None:
    """Without its groups the roster is not fetched: half of the truth takes rights away."""
    with pytest.raises(SourceUnreachable):
        await FileSource(path, path.with_name("groups.toml"), clock=clock).fetch(None)


def test_a_file_beyond_the_limit_is_refused(path: Path) -> None:
    """The limit is exact."""
    assert read_whole(path, max_bytes=5) == b"first"
    with pytest.raises(SourceRefused, match="larger than"):
        read_whole(path, max_bytes=4)


async def test_a_file_written_while_it_is_read(path: Path, clock: RestClock, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between opening and the last byte somebody saves the file: that look doesn't count, the next one does."""
    fstat = os.fstat
    looks: list[int] = []

    def saved_after_the_first_look(descriptor: int) -> os.stat_result:
        status = fstat(descriptor)
        looks.append(status.st_size)
        if len(looks) == 1:
            path.write_bytes(b"other")  # of the same length: only the time of change differs
            stamp(path, clock, age_s=30.0)
        return status

    monkeypatch.setattr(os, "fstat", saved_after_the_first_look)
    fetched = await FileSource(path, clock=clock).fetch(None)
    assert isinstance(fetched, Fetched)
    assert fetched.roster == b"other"
    assert clock.slept == [1.0]
