"""What `settings set` refuses before it asks the daemon: on-times that are none, files that hold no password."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from gateway.cli.app import command_line
from gateway.cli.changing import _numbered, _read_password
from gateway.errors import Refused

_GATE = {"number": 1, "name": "gate", "closed": False, "mode": "timed"}
_SPARE = {"number": 2, "name": "", "closed": False, "mode": "timed"}
_OUTPUTS = {"1": _GATE, "2": _SPARE}


@pytest.mark.parametrize("pair", ["1=²", "1=٣", "1=2.5", "1=-4", "gate", "=5", "1="])
def test_an_on_time_that_is_none(pair: str) -> None:
    """Wrong usage, with what to write; digits that only look like some are none."""
    done = CliRunner().invoke(command_line(), ["settings", "set", "slip-gate", "--on-time", pair])
    assert (done.exit_code, "write OUTPUT=SECONDS in whole seconds" in done.stderr) == (2, True)


def test_an_output_named_twice() -> None:
    """Neither of two on-times is taken silently, be the output named alike or by name and number."""
    done = CliRunner().invoke(command_line(), ["settings", "set", "slip-gate", "--on-time", "1=3", "--on-time", "1=4"])
    assert (done.exit_code, "name it once" in done.stderr) == (2, True)
    with pytest.raises(Refused, match="named twice"):
        _numbered("slip-gate", {"1": 3, "gate": 4}, _OUTPUTS)  # type: ignore[arg-type]


def test_an_output_by_its_name() -> None:
    """As people name it; an unknown name is told with those that there are."""
    assert _numbered("slip-gate", {"gate": 3, "2": 4}, _OUTPUTS) == {"1": 3, "2": 4}  # type: ignore[arg-type]
    with pytest.raises(Refused) as refused:
        _numbered("slip-gate", {"pier": 3}, _OUTPUTS)  # type: ignore[arg-type]
    assert refused.value.remedy == "It has output 1 (gate), output 2."


@pytest.mark.parametrize("content", [b"slip-1\n", b"slip-1\r\n", b"\xef\xbb\xbfslip-1", b"slip-1"])
def test_the_end_of_a_line_is_no_part_of_a_password(tmp_path: Path, content: bytes) -> None:
    """Whatever editor wrote it."""
    path = tmp_path / "password"
    path.write_bytes(content)
    assert _read_password(path) == "slip-1"


def test_a_password_file_that_is_no_text(tmp_path: Path) -> None:
    """No trace, and nothing of what stands in it."""
    path = tmp_path / "password"
    path.write_bytes(b"sl\xe4p")
    done = CliRunner().invoke(command_line(), ["settings", "set", "slip-gate", "--password-file", str(path)])
    assert done.exit_code == 2
    assert "holds no link password." in done.stderr.replace("\n", " ")
    assert "letters without accents" in done.stderr
    assert "sl" not in done.stderr.replace(str(path), "").replace("slip", "")
