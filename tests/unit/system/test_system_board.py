"""Disk space and the boot's id, as the kernel tells them."""

from __future__ import annotations

import os
import shutil
import uuid
from pathlib import Path

import pytest

from gateway.system.boot import read_boot_id
from gateway.system.disk import read_disk_space


def test_disk_space_is_what_the_file_system_says(tmp_path: Path) -> None:
    """Compared with Python's own reading of the same disk (within what others write meanwhile)."""
    found, other = read_disk_space(tmp_path), shutil.disk_usage(tmp_path)
    assert found.total == other.total
    assert abs(found.free - other.free) < 2**30
    assert not found.read_only


def test_a_file_system_mounted_for_reading_is_told() -> None:
    """/proc and /sys as they are mounted in containers differ, so the flag is compared with statvfs itself."""
    for folder in ("/", "/proc", "/sys", "/dev/shm"):
        if Path(folder).exists():
            assert read_disk_space(Path(folder)).read_only == bool(os.statvfs(folder).f_flag & os.ST_RDONLY)


def test_a_missing_folder_raises(tmp_path: Path) -> None:
    """The caller knows what it asked for."""
    with pytest.raises(FileNotFoundError):
        read_disk_space(tmp_path / "gone")


def test_the_boot_id_is_the_kernels() -> None:
    """The same at each reading, and a UUID."""
    assert read_boot_id() == read_boot_id()
    assert str(uuid.UUID(read_boot_id())) == Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()


@pytest.mark.parametrize("content", [None, "", "not an id"])
def test_a_kernel_that_hides_it_gives_one_made_up(tmp_path: Path, content: str | None) -> None:
    """Another at each reading, so that two runs are not taken for one."""
    path = tmp_path / "boot_id"
    if content is not None:
        path.write_text(content, encoding="ascii")
    first, second = read_boot_id(path), read_boot_id(path)
    assert uuid.UUID(first) != uuid.UUID(second)
