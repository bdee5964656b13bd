"""The log's lines: JSON or words, for journald with their priority."""

from __future__ import annotations

import contextlib
import io
import json
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
import structlog

from gateway.cli.logs import LogForm, is_journal, set_up_logs


@pytest.fixture(autouse=True)
def as_before() -> Iterator[None]:
    """Logging as it was."""
    root = logging.getLogger()
    before, level = root.handlers, root.level
    yield
    root.handlers, root.level = before, level
    structlog.reset_defaults()


def _written(form: LogForm, *, to_journal: bool = False) -> list[str]:
    """The lines on standard error of a warning, of a library's words and of a fault with its trace."""
    stream = io.StringIO()
    with contextlib.redirect_stderr(stream):
        set_up_logs(form, to_journal=to_journal)
        structlog.get_logger("gateway.outlets").warning("outlet.failing", outlet="harbour-desk", problem="It is away.")
        logging.getLogger("a.library").info("something %s", "happened")
        try:
            raise ValueError("a fault")
        except ValueError:
            structlog.get_logger("gateway.outlets").exception("outlet.fault", outlet="harbour-desk")
    return stream.getvalue().splitlines()


@pytest.mark.parametrize("form", ["json", "auto"])
def test_json_away_from_a_terminal(form: LogForm) -> None:
    """One object a line, also for a trace and for a library's own words."""
    first, library, fault = map(json.loads, _written(form))
    assert (first["event"], first["level"], first["outlet"]) == ("outlet.failing", "warning", "harbour-desk")
    assert first["timestamp"].endswith("Z")
    assert (library["event"], library["logger"]) == ("something happened", "a.library")
    assert "ValueError: a fault" in fault["exception"]


def test_words_where_the_settings_ask_for_them() -> None:
    """No colours where there is no terminal."""
    lines = _written("plain")
    assert "outlet.failing" in lines[0]
    assert "outlet=harbour-desk" in lines[0]
    assert not any("\x1b" in line for line in lines)


@pytest.mark.parametrize("form", ["json", "plain"])
def test_journald_gets_the_priority_of_every_line(form: LogForm) -> None:
    """sd-daemon(3): `<4>` is a warning, `<6>` information, `<3>` an error, on each line of a trace too."""
    lines = _written(form, to_journal=True)
    assert [line[:3] for line in lines] == ["<4>", "<6>", *["<3>"] * (len(lines) - 2)]
    assert len(lines) >= 3


def test_only_the_stream_that_systemd_names_is_the_journal(tmp_path: Path) -> None:
    """The variable is handed on to whatever a service starts, whose output may go elsewhere (systemd.exec(5))."""
    with (tmp_path / "log").open("w") as file:
        place = Path(file.name).stat()
        assert is_journal(file.fileno(), {"JOURNAL_STREAM": f"{place.st_dev}:{place.st_ino}"})
        assert not is_journal(file.fileno(), {"JOURNAL_STREAM": f"{place.st_dev}:{place.st_ino + 1}"})
        assert not is_journal(file.fileno(), {})
