"""Which modules a command brings with it, and that it is the same alone as among all."""

from __future__ import annotations

import subprocess
import sys

import pytest
from typer.core import TyperGroup
from typer.main import get_command

from gateway.cli.app import command_line


def _names(asked: str | None = None) -> dict[str, list[str]]:
    """Commands, and those of groups, in their order."""
    whole = get_command(command_line(asked))
    assert isinstance(whole, TyperGroup)
    return {
        name: [*command.commands] if isinstance(command, TyperGroup) else [] for name, command in whole.commands.items()
    }


@pytest.mark.parametrize("name", sorted(_names()))
def test_a_command_alone_is_what_it_is_among_all(name: str) -> None:
    """With all that belongs to its group."""
    assert _names(name) == {name: _names()[name]}


@pytest.mark.parametrize("asked", [None, "--help", "ruster", "roster from-receiver"])
def test_all_are_there_when_none_of_them_is_named(asked: str | None) -> None:
    """For the help, and to say what was meant."""
    assert _names(asked) == _names()


def test_the_daemon_does_not_keep_the_other_commands() -> None:
    """It lives for months with what its start has loaded."""
    code = (
        "import sys; from gateway.cli.app import command_line; command_line('run');"
        "print(*sorted(name for name in sys.modules if name.startswith('gateway.cli.')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = {name.removeprefix("gateway.cli.") for name in done.stdout.split()}
    assert "running" in loaded
    assert not loaded & {"people", "rosters", "snapshots", "demo", "following", "reports"}
