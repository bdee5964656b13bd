"""The systemd unit as systemd itself reads it: no unknown line, and hardened as far as RELIABILITY's S1 asks.

`systemd-analyze security` adds up what a service may still do, in tenths: 12 where this was written (systemd 252). What
is left is the network, serial devices, and files of the host that anybody may read. The unit running is not tried here.
"""

from __future__ import annotations

import configparser
import re
import subprocess
from pathlib import Path

import pytest

from tests.peers.conftest import RequireProgram

UNIT = Path(__file__).parents[2] / "systemd" / "gatepost.service"
MOST_TENTHS = 15


@pytest.fixture
def analyze(require_program: RequireProgram) -> str:
    return require_program("systemd-analyze", "systemd")


def exposure(analyze: str, unit: Path) -> int:
    """What `security` says, checked against what it answers to the threshold."""
    command = [analyze, "security", "--offline=true", f"--threshold={MOST_TENTHS}", "--no-pager", str(unit)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    found = re.search(r"Overall exposure level for \S+ ([0-9]+)\.([0-9])", done.stdout)
    assert found, done.stdout + done.stderr
    tenths = int(found[1]) * 10 + int(found[2])
    assert (done.returncode == 0) is (tenths <= MOST_TENTHS)
    return tenths


def test_it_may_do_little(analyze: str, tmp_path: Path) -> None:
    """Under the limit; and the judge sees a door that is left open."""
    assert exposure(analyze, UNIT) <= MOST_TENTHS
    open_door = tmp_path / "gatepost.service"
    lines = UNIT.read_text().splitlines(keepends=True)
    open_door.write_text("".join(line for line in lines if not line.startswith(("SystemCallFilter", "Capability"))))
    assert exposure(analyze, open_door) > MOST_TENTHS


def test_every_line_is_understood(analyze: str, tmp_path: Path) -> None:
    """`verify` has nothing to say once the program is one that is there."""
    unit = tmp_path / "gatepost.service"
    unit.write_text(UNIT.read_text().replace("/opt/gatepost/bin/gatepost", "/bin/true"))
    done = subprocess.run([analyze, "verify", "--man=no", str(unit)], capture_output=True, text=True, check=False)
    said = [line for line in (done.stdout + done.stderr).splitlines() if "gatepost" in line]
    assert said == []


def test_it_is_restarted_for_ever_but_for_broken_settings() -> None:
    """Exit code 2 is a settings file that stays broken; a hung daemon is killed within 30 s."""
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]  # names keep their capitals
    parser.read(UNIT)
    unit, service = parser["Unit"], parser["Service"]
    assert unit["StartLimitIntervalSec"] == "0"
    wanted = {
        "Type": "notify", "Restart": "always", "RestartPreventExitStatus": "2", "WatchdogSec": "30s",
        "User": "gatepost", "StateDirectoryMode": "0700", "UMask": "0077", "LimitCORE": "0",
        "MemoryHigh": "128M", "MemoryMax": "192M",
    }  # fmt: skip
    assert {name: service[name] for name in wanted} == wanted
