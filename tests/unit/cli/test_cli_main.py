"""The way in: what happens before a command is known."""

from __future__ import annotations

import pytest

from gateway import __main__ as way_in


def test_ctrl_c_while_it_loads_ends_it_quietly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loading takes seconds on a small board; somebody who thinks better of it sees no trace."""

    def interrupted(_: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(way_in, "import_module", interrupted)
    with pytest.raises(SystemExit) as ended:
        way_in.main()
    assert ended.value.code == 130
    assert ended.value.__suppress_context__


def test_what_is_loaded_is_run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """The same command line under both names."""
    monkeypatch.setattr("sys.argv", ["gatepost", "--version"])
    with pytest.raises(SystemExit) as ended:
        way_in.main()
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("gatepost ")
