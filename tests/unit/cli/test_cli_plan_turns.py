"""A command waits for the changes that are under way; what is refused for another reason is refused."""

from __future__ import annotations

import io
from typing import Any

import pytest
from rich.console import Console
from rich.progress import Progress

from gateway.cli import plan_turns
from gateway.cli.client import ApiProblem
from gateway.cli.plan_turns import in_turn


@pytest.fixture
def bars(monkeypatch: pytest.MonkeyPatch) -> Progress:
    monkeypatch.setattr(plan_turns, "_LOOK_EVERY_S", 0.0)
    monkeypatch.setattr(plan_turns, "_LOOKS", 4)
    return Progress(console=Console(file=io.StringIO()), disable=True)


def _problem(code: str) -> ApiProblem:
    return ApiProblem(409, {"type": f"urn:gatepost:problem:{code}", "detail": "Not now."})


async def test_it_is_asked_again_until_its_turn_comes(bars: Progress) -> None:
    """Meanwhile it is said, and no longer."""
    refusals, shown = [_problem("plan-running")] * 3, []

    async def ask() -> Any:
        shown.append(len(bars.tasks))
        if refusals:
            raise refusals.pop()
        return {"id": "p-41"}

    assert await in_turn(ask, "slip-gate", bars) == {"id": "p-41"}
    assert (shown, bars.tasks) == ([0, 1, 1, 1], [])


@pytest.mark.parametrize(("code", "times"), [("roster-waits", 1), ("plan-running", 4)])
async def test_what_does_not_pass_is_told(bars: Progress, code: str, times: int) -> None:
    """Another reason at once, and a turn that never comes in the end."""
    asked = 0

    async def ask() -> Any:
        nonlocal asked
        asked += 1
        raise _problem(code)

    with pytest.raises(ApiProblem) as refused:
        await in_turn(ask, "slip-gate", bars)
    assert (refused.value.code, asked) == (code, times)
