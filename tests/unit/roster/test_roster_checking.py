"""Files at paths, checked without a daemon."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.errors import SourceRefused, SourceUnreachable
from gateway.roster import check_document, check_files
from tests.fakes.workbooks import write_xlsx

BERLIN = ZoneInfo("Europe/Berlin")
VECTORS = Path(__file__).parents[2] / "vectors" / "rosters"


def test_a_good_file() -> None:
    """The document of a file without faults."""
    document = check_document(check_files(VECTORS / "good.csv", VECTORS / "good.toml", BERLIN))
    assert document == {"ok": True, "transmitters": 4, "holders": 3, "faults": [], "warnings": []}


def test_a_name_that_says_something_else(tmp_path: Path) -> None:
    """What a file is, its content says; a misleading name is a warning."""
    workbook = write_xlsx({"people": [["serial", "holder", "rights"], ["1", "a", "1:slip-gate/gate"]]})
    (tmp_path / "people.csv").write_bytes(workbook)
    (tmp_path / "people.xlsx").write_bytes(b"serial,holder,rights\n1,a,1:slip-gate/gate\n")
    for name, remedy in (("people.csv", ".xlsx or .ods"), ("people.xlsx", ".csv")):
        found = check_files(tmp_path / name, None, BERLIN)
        assert found.transmitters == 1
        (warning,) = found.warnings
        assert warning.file == name
        assert warning.remedy.endswith(remedy)


def test_a_missing_file(tmp_path: Path) -> None:
    """A path that leads nowhere can be mended, so it is unreachable rather than refused."""
    with pytest.raises(SourceUnreachable, match="no file") as error:
        check_files(tmp_path / "people.csv", None, BERLIN)
    assert error.value.remedy


def test_a_folder_and_a_pipe_are_no_files(tmp_path: Path) -> None:
    """A folder is refused, and so is a pipe, at once and without waiting for a writer."""
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe"):
        with pytest.raises(SourceRefused):
            check_files(path, None, BERLIN)


def test_checking_loads_no_web_client() -> None:
    """The command line pays for aiohttp only where a roster comes from the web."""
    code = "import sys, gateway.roster; sys.exit('aiohttp' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
