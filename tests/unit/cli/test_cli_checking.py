"""What `check` says of the program's own files."""

from __future__ import annotations

from gateway.cli.checking import check_program
from gateway.system.installed import Installation


def test_a_sound_program() -> None:
    """How long it is mended, and that its files are those of the package."""
    found = check_program(Installation(612))
    assert found.ok
    assert found.text == "the program is mended until 2029-12-31; its 612 files are as they were installed"


def test_a_working_copy_has_no_record() -> None:
    """Nothing is claimed that nobody looked at."""
    found = check_program(Installation())
    assert found.ok
    assert "working copy" in found.text


def test_a_program_that_was_changed() -> None:
    """Each kind is counted, three are named, and the remedy is to install it anew."""
    found = check_program(Installation(612, ("b.py", "a.py"), ("d.css",), ("c.py",)))
    assert not found.ok
    assert found.text == (
        "the program has 2 files changed since it was installed, 1 file missing or unreadable, "
        "1 file not of the package: a.py, b.py, c.py and others"
    )
    assert found.remedy.startswith("Install it anew")
