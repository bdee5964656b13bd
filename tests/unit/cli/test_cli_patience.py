"""While a command waits: what is read, and how far; on a terminal alone, and never in the way of the answer."""

from __future__ import annotations

import asyncio
import io
from typing import Any

import pytest
from rich.console import Console

from gateway.cli import patience
from gateway.cli.patience import reading_words, with_patience
from gateway.errors import Refused

_READING = {
    "receivers": [{"id": "slip-gate", "reading": {"done": 320, "total": 1024}}, {"id": "shed", "reading": None}]
}
_AT_REST = {"receivers": [{"id": "slip-gate", "reading": None}, {"id": "older-daemon"}]}


class _Client:
    """Answers one look after the other; the last for ever."""

    def __init__(self, *looks: Any) -> None:
        self._looks = list(looks)
        self.enough = asyncio.Event()

    async def get(self, path: str) -> Any:
        assert path == "/receivers"
        look = self._looks.pop(0) if len(self._looks) > 1 else self._looks[0]
        if len(self._looks) == 1:
            self.enough.set()
        if isinstance(look, Exception):
            self.enough.set()
            raise look
        return look


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Console:
    monkeypatch.setattr(patience, "_LOOK_EVERY_S", 0.0)
    return Console(file=io.StringIO(), force_terminal=True, width=100)


def _shown(terminal: Console) -> str:
    assert isinstance(terminal.file, io.StringIO)
    return terminal.file.getvalue()


async def _until_enough(client: Any) -> str:
    await client.enough.wait()
    return "done"


def test_who_is_read_and_how_far() -> None:
    """Only those; a daemon of an earlier version says nothing of it."""
    assert reading_words(_READING) == "Reading what the receiver holds; slip-gate: 320 of 1024 slots"
    assert reading_words(_AT_REST) == ""


async def test_it_is_shown_while_it_lasts(terminal: Console) -> None:
    """On the terminal, and the answer is the work's own."""
    client = _Client(_AT_REST, _READING, _AT_REST, _READING)
    assert await with_patience(_until_enough, client, terminal) == "done"  # type: ignore[arg-type]
    assert "slip-gate: 320 of 1024 slots" in _shown(terminal)


async def test_a_look_that_is_refused_is_nobodys_trouble(terminal: Console) -> None:
    """A token that may not look still does what it may."""
    client = _Client(Refused("This token may not look.", remedy="Use another."))
    assert await with_patience(_until_enough, client, terminal) == "done"  # type: ignore[arg-type]
    assert _shown(terminal) == ""


async def test_what_the_work_raises_is_raised_as_it_is(terminal: Console) -> None:
    """Not as a group of one."""

    async def refused(_: Any) -> None:
        raise Refused("The receiver is full.", remedy="Make room.")

    with pytest.raises(Refused, match="full"):
        await with_patience(refused, _Client(_READING), terminal)  # type: ignore[arg-type]


async def test_without_a_terminal_nothing_is_asked() -> None:
    """A script gets its answer and nothing else."""

    async def work(_: Any) -> int:
        return 7

    assert await with_patience(work, None, Console(file=io.StringIO())) == 7  # type: ignore[arg-type]
