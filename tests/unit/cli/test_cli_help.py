"""The commands and options that people and scripts use. A name that goes or changes breaks somebody's script."""

from __future__ import annotations

import re

import pytest
from typer.testing import CliRunner

from gateway.cli.app import command_line

_DAEMON = {"--url", "--token-file", "--socket"}
OPTIONS: dict[str, set[str]] = {
    "demo": {"--for", "--listen"},
    "run": {"--config"},
    "check": {"--config", "--socket", "--json"},
    "status": _DAEMON | {"--json"},
    "follow": _DAEMON | {"--json", "--after", "--since", "--kind", "--gate", "--receiver", "--holder"},
    "output list": _DAEMON | {"--json"},
    "output operate": _DAEMON | {"--json", "--reason", "--seconds"},
    "outlet list": _DAEMON | {"--json"},
    "outlet show": _DAEMON | {"--json"},
    "outlet replay": _DAEMON | {"--json"},
    "outlet test": _DAEMON | {"--json", "--sheet", "--no-sheet", "--on-test"},
    "visit start": _DAEMON | {"--json", "--receiver", "--gate", "--minutes", "--reason", "--unlock"},
    "visit end": _DAEMON | {"--json"},
    "visit list": _DAEMON | {"--json"},
    "roster check": {"--groups", "--time-zone", "--public-key", "--encoding", "--json"},
    "roster preview": _DAEMON | {"--json", "--receiver"},
    "roster apply": _DAEMON | {"--json", "--receiver", "--approve"},
    "roster from-receiver": _DAEMON | {"--json", "--receiver", "--keep", "--replace"},
    "people list": _DAEMON | {"--json", "--group", "--standing", "--unnamed", "--order"},
    "people show": _DAEMON | {"--json"},
    "people add": _DAEMON
    | {"--json", "--group", "--right", "--like", "--kind", "--site", "--from", "--until", "--note", "--apply"},
    **{
        f"people {name}": _DAEMON | {"--json", "--apply"}
        for name in (
            "copy", "rename", "hand-over", "move", "rights", "kind", "sites", "begin", "end", "remove", "group set"
        )
    },
    "people note": _DAEMON | {"--json"},
    "people export": _DAEMON | {"--as", "--revision", "--replace"},
    "people import": _DAEMON | {"--json", "--groups", "--based-on", "--preview", "--apply"},
    "people restore": _DAEMON | {"--json", "--preview", "--apply"},
    "people history": _DAEMON | {"--json", "--limit"},
    "people group list": _DAEMON | {"--json"},
    "people group rename": _DAEMON | {"--json"},
    "people group remove": _DAEMON | {"--json"},
    "revoke": _DAEMON | {"--json", "--reason", "--lift", "--holder", "--group", "--preview", "--yes"},
    "enrol": _DAEMON
    | {
        "--json", "--serial", "--press", "--several", "--holder", "--group", "--like", "--rights", "--kind", "--note",
        "--in-force", "--add", "--seconds",
    },
    "overrides": _DAEMON | {"--json", "--withdraw"},
    "settings show": _DAEMON | {"--json"},
    "settings set": _DAEMON
    | {"--json", "--on-time", "--local-programming", "--lock-local-programming", "--password-file"},
    "token add": _DAEMON | {"--json", "--scope"},
    "token list": _DAEMON | {"--json"},
    "token remove": _DAEMON,
    "visit-sheet show": _DAEMON | {"--json"},
    "visit-sheet tick": _DAEMON | {"--json", "--done-by"},
    "visit-sheet undo": _DAEMON | {"--json"},
    "visit-sheet holds": _DAEMON | {"--json", "--empty", "--from", "--groups", "--transmitter"},
    "virtual-receiver": {
        "--link", "--address", "--serial", "--baud", "--paced", "--map", "--memory", "--control", "--scenario",
        "--seed",
    },
}  # fmt: skip


def _help(*command: str) -> str:
    done = CliRunner().invoke(command_line(), [*command, "--help"], env={"COLUMNS": "200"})
    assert done.exit_code == 0
    return done.stdout


@pytest.mark.parametrize("command", OPTIONS)
def test_the_options_of_each_command(command: str) -> None:
    """These are there, each with a sentence that ends, and so has the command itself."""
    words = _help(*command.split())
    rows = re.findall(r"^  (--[a-z-]+)(?: / (--[a-z-]+))?(?: <[^>]*>)?\s+(.*)$", words, re.M)
    found = {name for first, second, _ in rows for name in (first, second) if name}
    assert OPTIONS[command] <= found
    for name, _, sentence in rows:
        assert sentence.strip(), f"{command} {name} says nothing"
    sentence = " ".join(words.split("\n\n")[1].split())
    assert sentence.endswith((".", ")"))


def test_every_command_that_reads_has_json() -> None:
    """What is shown to people can be had by programs."""
    for command in ("check", "status", "follow", "roster check", "roster preview", "settings show", "token list"):
        assert "--json" in _help(*command.split())


def test_a_command_without_its_part_shows_help() -> None:
    """`gatepost` and `gatepost roster` alone are questions, answered with what there is."""
    for arguments in ([], ["roster"], ["settings"], ["token"]):
        done = CliRunner().invoke(command_line(), arguments)
        assert done.exit_code == 2
        assert "Usage:" in done.output


def test_the_version() -> None:
    """What SECURITY.md asks for in a report."""
    done = CliRunner().invoke(command_line(), ["--version"])
    assert done.exit_code == 0
    assert re.fullmatch(r"gatepost \d+\.\d+\.\d+\S*\n", done.stdout)
