"""A process forked from a loaded one ends and speaks as one that begins from nothing: the yard relies on it."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from tests.integration.warm import WarmProcess
from tests.integration.yard import gatepost, until

COMMANDS = {
    "the help": ("--help",),
    "an option that there isn't": ("status", "--nonsense"),
    "nobody answers": ("status", "--socket", "nowhere.sock"),
    "a faulty roster": ("roster", "check", "roster.csv"),
    "as JSON": ("roster", "check", "roster.csv", "--json"),
}


@pytest.mark.parametrize("name", COMMANDS)
def test_the_same_words_and_exit_code(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both texts to the byte, from the folder that the test is in."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    Path("roster.csv").write_text("serial,holder,kind,group\n48200001,Åse,two-button,nobody\n", "utf-8")
    cold = gatepost(*COMMANDS[name])
    warm = WarmProcess(COMMANDS[name], os.environ, tmp_path / "out", tmp_path / "err")
    assert warm.wait(30) == cold.code
    assert (tmp_path / "out").read_text("utf-8") == cold.out
    assert (tmp_path / "err").read_text("utf-8") == cold.err


def test_signals_reach_it_and_are_told(tmp_path: Path) -> None:
    """In order by SIGTERM, with the session of its own; at once by SIGKILL."""
    for number, code in ((signal.SIGTERM, 0), (signal.SIGKILL, -signal.SIGKILL)):
        port = tmp_path / f"port-{number}"
        log = tmp_path / "log"
        process = WarmProcess(("virtual-receiver", "--link", str(port)), os.environ, log, log)
        until(port.is_symlink, "a port")
        assert process.poll() is None
        assert os.getsid(process.pid) == process.pid
        process.send_signal(number)
        assert process.wait(20) == code
        process.kill()
        assert process.returncode == code
