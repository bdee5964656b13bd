"""What a command refuses before or after it asks the daemon: addresses, token files, names that can be none."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from gateway.cli.app import command_line
from gateway.cli.client import ApiProblem, part
from gateway.cli.console import answered, exit_code
from gateway.errors import NotFound


@pytest.mark.parametrize("url", ["x", "ftp://gate.example", "http://", "localhost:8470"])
def test_an_address_that_is_none(url: str) -> None:
    """Wrong usage, told before anything is asked."""
    done = CliRunner().invoke(command_line(), ["status", "--url", url])
    assert done.exit_code == 2
    assert "Write http://HOST:PORT or https://HOST:PORT." in done.stderr


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", "gp_é".encode(), b"gp_one\ngp_two\n", b"gp_a b"])
def test_a_token_file_that_holds_none(tmp_path: Path, content: bytes) -> None:
    """No trace, no request: what a token looks like, and how one is made."""
    path = tmp_path / "token"
    path.write_bytes(content)
    done = CliRunner().invoke(command_line(), ["status", "--url", "http://127.0.0.1:1", "--token-file", str(path)])
    assert done.exit_code == 2
    assert f"The token file {path} holds no token." in done.stderr.replace("\n", " ")
    assert "gatepost token add" in done.stderr


def test_a_token_from_the_environment_that_is_none() -> None:
    """As from a file."""
    done = CliRunner().invoke(
        command_line(), ["status", "--url", "http://127.0.0.1:1"], env={"GATEPOST_TOKEN": "gp_a\ngp_b"}
    )
    assert (done.exit_code, "GATEPOST_TOKEN holds no token." in done.stderr) == (2, True)


def test_names_stay_one_part_of_a_path() -> None:
    """Whatever somebody types, it names one thing and leads nowhere else."""
    assert part("slip-gate") == "slip-gate"
    assert part("../tokens") == "..%2Ftokens"
    assert part("a?b#c") == "a%3Fb%23c"
    for nothing in ("", " ", ".", ".."):
        with pytest.raises(NotFound):
            part(nothing)


@pytest.mark.parametrize("code", ["body-invalid", "query-invalid", "route-not-found"])
def test_what_the_daemon_can_never_take_is_wrong_usage(code: str) -> None:
    """Exit code 2, as for what the command line itself refuses."""
    problem = {"type": f"urn:gatepost:problem:{code}", "remedy": "See /api/v1/openapi.json for every address."}
    assert exit_code(ApiProblem(422, problem)) == 2
    assert exit_code(ApiProblem(422, {**problem, "remedy": "Write 0000000001 to 4294967295."})) == 1


def test_taking_note_of_nothing() -> None:
    """A name and a note without a condition are wrong usage, not silently left aside."""
    done = CliRunner().invoke(command_line(), ["conditions", "--name", "Harbour office"])
    assert (done.exit_code, "go with --acknowledge" in done.stderr) == (2, True)


def test_a_question_that_nobody_answers() -> None:
    """A script without a terminal learns what became of it, and what to give."""
    with pytest.raises(typer.Exit) as ended, answered("Nothing was written: nobody answered."):
        raise typer.Abort
    assert ended.value.exit_code == 1


def test_a_reset_in_json_asks_nothing() -> None:
    """Wrong usage before anything is asked of anybody."""
    done = CliRunner().invoke(command_line(), ["reset", "slip-gate", "--json"])
    assert (done.exit_code, "add --confirm" in done.stderr, done.stdout) == (2, True, "")
