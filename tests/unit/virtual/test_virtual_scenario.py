"""Scenario files: read, refused, played on time."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

import pytest

from gateway.errors import SettingsFault
from gateway.virtual.scenario import Scenario, Step, load_scenario, play
from tests.fakes.clock import FakeClock

PAGE = Path(__file__).parents[3] / "docs" / "virtual-receiver.md"


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "scenario.toml"
    path.write_text(text, "utf-8")
    return path


def test_the_example_of_the_page_is_a_scenario(tmp_path: Path) -> None:
    """As docs/virtual-receiver.md shows it."""
    example = re.search(r"```toml\n(.*?)```", PAGE.read_text("utf-8"), re.S)
    assert example
    assert load_scenario(_file(tmp_path, example.group(1))) == Scenario(
        (Step(2.5, ("press 0048231907 1",)), Step(4.0, ("input 1 violated", "@2 mode 1 latching"))), True, 30.0
    )


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", r"no \[\[step\]\]"),
        ("repeat = true\n[[step]]\nat_s = 1\ndo = 'quit'", "unknown key repeat"),
        ("[[step]]\nat_s = 1", "step 1 needs at_s and do"),
        ("[[step]]\nat_s = 1\ndo = 'quit'\nwhy = 'late'", "step 1 needs"),
        ("[[step]]\nat_s = -1\ndo = 'quit'", "step 1: at_s"),
        ("[[step]]\nat_s = 1\ndo = [1]", "step 1: do"),
        ("loop = 1\n[[step]]\nat_s = 1\ndo = 'quit'", "loop"),
        ("length_s = 1\n[[step]]\nat_s = 1\ndo = 'quit'", "length_s"),
        ("[[step]", "can't be read"),
    ],
)
def test_a_wrong_file_is_refused_with_its_place(tmp_path: Path, text: str, what: str) -> None:
    """Before anything is played."""
    with pytest.raises(SettingsFault, match=what):
        load_scenario(_file(tmp_path, text))


async def test_steps_come_at_their_times_and_rounds_do_not_drift() -> None:
    """Absolute times, round after round; a line that fails is complained of and the rest goes on."""
    clock = FakeClock()
    began, ran, complaints = clock.monotonic(), list[tuple[float, str]](), list[str]()

    def run(line: str) -> str:
        ran.append((clock.monotonic() - began, line))
        return "error: no such thing" if line == "dance" else "ok"

    scenario = Scenario((Step(0.0, ("press 5 1",)), Step(2.5, ("dance", "input 1 violated"))), True, 10.0)
    async with asyncio.TaskGroup() as group:
        playing = group.create_task(play(scenario, clock, run, complaints.append))
        await clock.advance(21)
        playing.cancel()
    assert ran == [
        (0.0, "press 5 1"), (2.5, "dance"), (2.5, "input 1 violated"), (10.0, "press 5 1"), (12.5, "dance"),
        (12.5, "input 1 violated"), (20.0, "press 5 1"),
    ]  # fmt: skip
    assert complaints == ["scenario, 2.5 s, “dance”: error: no such thing"] * 2
