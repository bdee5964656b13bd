"""docs/snapshots.md is true: its worked example is given, command by command, and every answer is compared.

Ids, times and seconds differ from day to day; an id of the page stands for the one that came in its place.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.integration.yard import Yard, open_yard, until

PAGE = Path(__file__).parents[2] / "docs" / "snapshots.md"
ID = re.compile(r"\d{8}T\d{6}Z-\d{3}-slip-gate")
VARYING = (
    (ID, "<id>"),
    (re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d [+-]\d{4}"), "<time>"),
    (re.compile(r"\d+\.\d s"), "<s>"),
)
BAUD = ("--paced", "--baud", "115200")


@pytest.fixture
def yard() -> Iterator[Yard]:
    """The slip gate of the example."""
    with open_yard() as found:
        found.write_settings(baud=115200)
        found.write_roster(
            "0048231907,Berth 12,two-button,berth-holders",
            "0048231911,Harbour office,two-button,hoist-crew",
            "0048231915,Barge crew,two-button,hoist-crew",
        )
        found.line("quayside", *BAUD, "--serial", "FQ-0001")
        found.start().wait_mirrored("slip-gate")
        assert found.run("roster", "apply").code == 0
        yield found


def take_the_hoist(yard: Yard) -> None:
    line, before = yard.lines["quayside"], yard.daemon.receiver("slip-gate")["mirror_revision"]
    assert line.tell("board unlearn 2") == "waiting"
    assert line.tell("press 0048231911 2") == "saved"
    until(lambda: yard.daemon.receiver("slip-gate")["mirror_revision"] != before, "the change in the mirror")


def strike(yard: Yard) -> None:
    yard.lines["quayside"].stop()
    yard.line("quayside", *BAUD, "--serial", "FQ-0002")
    yard.daemon.wait_link("slip-gate", "wrong-receiver")


HAPPENS: dict[str, Callable[[Yard], None]] = {
    "# somebody takes the boat hoist from the harbour office at the board": take_the_hoist,
    "# lightning: another board, FQ-0002, is put in its place": strike,
}


def steps() -> list[tuple[str, list[str]]]:
    """Each line that is given or happens, and the lines of its answer."""
    (block,) = re.findall(r"```console\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    found: list[tuple[str, list[str]]] = []
    for line in block.splitlines():
        if line.startswith(("$ ", "# ")):
            found.append((line, []))
        else:
            found[-1][1].append(line)
    return found


def test_the_worked_example_is_true(yard: Yard) -> None:
    """Every command does what the page says it does."""
    real: dict[str, str] = {}
    assert len(steps()) > 7
    for given, expected in steps():
        if given in HAPPENS:
            HAPPENS[given](yard)
            continue
        command = with_real_ids(given.removeprefix("$ gatepost "), real)
        said = yard.run(*shlex.split(command)).said.splitlines()
        assert [plain(line) for line in said] == [plain(line) for line in expected], given
        for page_line, real_line in zip(expected, said, strict=True):
            real |= dict(zip(ID.findall(page_line), ID.findall(real_line), strict=True))
    assert len(yard.lines["quayside"].rights()) == 3


def with_real_ids(command: str, real: dict[str, str]) -> str:
    return ID.sub(lambda found: real[found[0]], command)


def plain(line: str) -> str:
    for pattern, name in VARYING:
        line = pattern.sub(name, line)
    return line
