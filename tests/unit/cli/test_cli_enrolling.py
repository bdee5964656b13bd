"""What `enrol` and `revoke` refuse before they ask anybody."""

from __future__ import annotations

from typing import Any, cast

import pytest
from typer.testing import CliRunner

from gateway.cli.app import command_line
from gateway.cli.client import ApiClient
from gateway.cli.enrolling import _listened

_WRONG = (
    (["enrol", "slip-gate", "--press"], "--serial"),
    (["enrol", "slip-gate", "--several", "--serial", "48231950"], "--several"),
    (["enrol", "slip-gate", "--holder", "Berth 40"], "--group"),
    (["enrol", "slip-gate", "--holder", "Berth 40", "--group", "berths", "--like", "Berth 2"], "--like"),
    (["enrol", "slip-gate", "--in-force"], "--holder"),
    (["enrol", "slip-gate", "--seconds", "61"], "60"),
    (["revoke", "--reason", "lost"], "--holder"),
    (["revoke", "48231907", "--holder", "Berth 12", "--reason", "lost"], "--holder"),
    (["revoke", "--holder", "Berth 12"], "--reason"),
    (["revoke", "48231907", "--preview"], "--preview"),
    (["revoke", "--group", "hoist-crew", "--lift", "--reason", "found"], "--holder"),
)


@pytest.mark.parametrize(("arguments", "named"), _WRONG)
def test_wrong_usage(arguments: list[str], named: str) -> None:
    """Exit code 2, with the option that is meant; no daemon is asked."""
    done = CliRunner().invoke(
        command_line(), [*arguments], env={"COLUMNS": "200", "GATEPOST_SOCKET": "/nonexistent/api.sock"}
    )
    assert done.exit_code == 2, done.output
    assert named in done.output


@pytest.mark.parametrize("arguments", [["enrol", "slip-gate", "--serial", "48O"], ["overrides", "--withdraw", "x"]])
def test_what_is_no_serial(arguments: list[str]) -> None:
    """Said with what to write."""
    done = CliRunner().invoke(command_line(), arguments, env={"GATEPOST_SOCKET": "/nonexistent/api.sock"})
    assert done.exit_code == 1
    assert "ten decimal digits" in done.output


class LateEvents:
    """A daemon whose enrolment has ended, and whose event of that is not durable yet."""

    async def send(self, method: str, path: str, body: object = None) -> dict[str, Any]:
        return {"id": "e-1", "caution": "", "way": "two-presses", "state": "listening", "words": "Listening."}

    async def get(self, path: str, **query: str | int) -> dict[str, Any]:
        if path == "/events":
            return {"events": []}
        return {
            "id": "e-1",
            "way": "two-presses",
            "state": "ended",
            "words": "It has stopped listening.",
            "confirmed": [],
        }


async def test_the_last_step_is_said_though_its_event_comes_later() -> None:
    """Whoever asks for the enrolment sees the end a moment before the journal tells it."""
    said: list[str] = []
    asked = {"way": "two-presses", "seconds": 2}
    found = await _listened(cast("ApiClient", LateEvents()), "slip-gate", asked, 0, said.append)
    assert found["state"] == "ended"
    assert said == ["It has stopped listening."]
