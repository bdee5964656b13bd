"""A scenario: command lines at set times, from a TOML file.

Form: docs/virtual-receiver.md, "Scenario files". Times are seconds from the start of the round, absolute, so that
steps never drift.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.clock import Clock
from gateway.errors import SettingsFault

__all__ = ["Scenario", "Step", "load_scenario", "play"]


@dataclass(frozen=True, slots=True)
class Step:
    """Command lines at a time, seconds after the start of the round."""

    at_s: float
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Scenario:
    """Steps in the order of their times. With `loop` a round begins again every `length_s` seconds."""

    steps: tuple[Step, ...]
    loop: bool = False
    length_s: float = 0.0


def load_scenario(path: Path) -> Scenario:
    """Read a scenario file. Raises SettingsFault that names the step and what to write."""
    try:
        raw = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else fault
        raise SettingsFault(
            f"The scenario {path} can't be read: {reason}.", remedy="Mend the file or its path."
        ) from fault
    unknown = sorted(set(raw) - {"step", "loop", "length_s"})
    if unknown:
        raise _wrong(path, f"it has the unknown key {unknown[0]}")
    listed = raw.get("step", [])
    if not isinstance(listed, list) or not listed:
        raise _wrong(path, "it has no [[step]]")
    steps = tuple(sorted((_step(path, place, entry) for place, entry in enumerate(listed, 1)), key=lambda s: s.at_s))
    loop, length_s = raw.get("loop", False), raw.get("length_s", steps[-1].at_s + 1)
    if not isinstance(loop, bool):
        raise _wrong(path, "loop is neither true nor false")
    if not _is_time(length_s) or length_s <= steps[-1].at_s:
        raise _wrong(path, "length_s does not lie behind the last step")
    return Scenario(steps, loop, float(length_s))


async def play(scenario: Scenario, clock: Clock, run: Callable[[str], str], complain: Callable[[str], None]) -> None:
    """Run the steps at their times, once or for ever. A line that is answered with an error is complained of."""
    began = clock.monotonic()
    while True:
        for step in scenario.steps:
            await clock.sleep(began + step.at_s - clock.monotonic())
            for line in step.lines:
                answer = run(line)
                if answer.startswith("error"):
                    complain(f"scenario, {step.at_s:g} s, “{line}”: {answer}")
        if not scenario.loop:
            return
        began += scenario.length_s
        if clock.monotonic() - began > scenario.length_s:  # the machine slept: missed rounds are not made up for
            began = clock.monotonic()
        await clock.sleep(began - clock.monotonic())


def _step(path: Path, place: int, entry: Any) -> Step:
    if not isinstance(entry, dict) or set(entry) != {"at_s", "do"}:
        raise _wrong(path, f"step {place} needs at_s and do, and nothing else")
    at_s, do = entry["at_s"], entry["do"]
    lines = [do] if isinstance(do, str) else do
    if not _is_time(at_s):
        raise _wrong(path, f"step {place}: at_s is no number of seconds from 0")
    if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
        raise _wrong(path, f"step {place}: do is no command and no list of commands")
    return Step(float(at_s), tuple(lines))


def _is_time(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value >= 0


def _wrong(path: Path, what: str) -> SettingsFault:
    return SettingsFault(f"The scenario {path} is wrong: {what}.", remedy="docs/virtual-receiver.md shows a whole one.")
