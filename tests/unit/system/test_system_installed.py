"""The program's files against the package's record, as written by the PyPA's "Recording installed projects"."""

from __future__ import annotations

import base64
import hashlib
import sys
from pathlib import Path

import pytest

from gateway.system.installed import Installation, look_at_installation

_FILES = {"slipway/__init__.py": b"", "slipway/winch.py": b"PULL = 3\n", "slipway/page.css": b"a{}"}


def _sum(content: bytes) -> str:
    return "sha256=" + base64.urlsafe_b64encode(hashlib.sha256(content).digest()).rstrip(b"=").decode()


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with an installed distribution `slipway`, first on the path."""
    for name, content in _FILES.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(content)
    about = tmp_path / "slipway-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: slipway\nVersion: 1.0\n")
    rows = [f"{name},{_sum(content)},{len(content)}" for name, content in _FILES.items()]
    (about / "RECORD").write_text("\n".join([*rows, "slipway-1.0.dist-info/RECORD,,", ""]))
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    return tmp_path


def _look() -> Installation:
    return look_at_installation("slipway", "slipway")


def test_an_untouched_one_is_sound(site: Path) -> None:
    """All files that the record names are read; compiled ones beside them are nobody's business."""
    (site / "slipway" / "__pycache__").mkdir()
    (site / "slipway" / "__pycache__" / "winch.cpython-311.pyc").write_bytes(b"x")
    assert _look() == Installation(3)


def test_each_kind_of_fault_is_told(site: Path) -> None:
    """One flipped bit, a file gone, and code that the record lacks."""
    (site / "slipway" / "winch.py").write_bytes(b"PULL = 2\n")
    (site / "slipway" / "page.css").unlink()
    (site / "slipway" / "extra.py").write_bytes(b"")
    found = _look()
    assert found == Installation(3, ("slipway/winch.py",), ("slipway/page.css",), ("slipway/extra.py",))
    assert found.faulty == ("slipway/extra.py", "slipway/page.css", "slipway/winch.py")


@pytest.mark.parametrize("form", ["md5=x", "shake_128=x", "rot13=x"])
def test_a_sum_that_proves_nothing_is_no_sum(site: Path, form: str) -> None:
    """Weak and unknown methods count as another content."""
    record = site / "slipway-1.0.dist-info" / "RECORD"
    record.write_text(record.read_text().replace(_sum(_FILES["slipway/winch.py"]), form))
    assert _look().changed == ("slipway/winch.py",)


def test_without_a_record_nothing_is_claimed(site: Path) -> None:
    """A working copy's record has sums of the finder, not of the program; another one is not installed at all."""
    (site / "slipway-1.0.dist-info" / "RECORD").write_text("finder.py,sha256=x,1\n")
    assert _look() == Installation()
    assert look_at_installation("no-such-thing", "no_such_thing") == Installation()
