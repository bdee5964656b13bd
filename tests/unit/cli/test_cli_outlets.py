"""What commands say of outlets: the events that were refused, and whether anything was ever sent."""

from __future__ import annotations

from typing import Any

import pytest

from gateway.cli.checking import check_outlet
from gateway.cli.outlets import set_aside_lines

DESK: dict[str, Any] = {
    "id": "harbour-desk",
    "state": "idle",
    "done": 12,
    "lag": 0,
    "problem": "",
    "remedy": "",
    "set_aside_events": [],
}
REFUSED = "desk.fennel-quay.example answers 422 (Unprocessable Entity) to this event."


def _aside(number: int, receiver: str = "slip-gate") -> dict[str, str]:
    return {
        "event": f"k3v9-{number}",
        "name": "input.changed",
        "receiver": receiver,
        "problem": REFUSED,
        "time": "2026-03-02T07:12:41.000Z",
    }


def test_what_was_refused_is_listed_with_the_way_to_send_it_again() -> None:
    """From the oldest of them, for a replay goes on from there."""
    first, second, again = set_aside_lines({**DESK, "set_aside_events": [_aside(1190, ""), _aside(1188)]})
    assert "k3v9-1190, gateway: input.changed. " + REFUSED in first
    assert "k3v9-1188, slip-gate: input.changed. " + REFUSED in second
    assert "gatepost outlet replay harbour-desk k3v9-1188 " in again
    assert set_aside_lines(DESK) == []


@pytest.mark.parametrize(
    ("changes", "ok", "words"),
    [
        ({}, True, "harbour-desk works, 0 events before it"),
        ({"done": 0}, True, "nothing was sent to harbour-desk yet; gatepost outlet test harbour-desk tries it"),
        ({"done": 0, "state": "retrying", "problem": REFUSED}, False, f"harbour-desk: {REFUSED}"),
    ],
)
def test_check_claims_no_more_than_it_knows(changes: dict[str, Any], ok: bool, words: str) -> None:
    """An outlet to which nothing was sent yet is not said to work."""
    found = check_outlet({**DESK, **changes})
    assert (found.ok, found.text) == (ok, words)
