"""`gatepost follow`: which events are shown, and from when on."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import typer

from gateway.cli.following import Wanted, read_since
from gateway.domain.gate import Contact, Gate, InputRole

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
GATES = (
    Gate("slip-gate", "Slip gate", "quay", outputs=(1,), contacts=(Contact("quay", 1, InputRole.CLOSED),)),
    Gate("hoist", "Boat hoist", "quay", outputs=(2,)),
)


def event(name: str, receiver: str = "quay", **data: Any) -> dict[str, Any]:
    return {"type": f"local.gatepost.{name}", "subject": receiver, "data": data}


PRESS = event(
    "transmitter.heard", serial="0048231907", holder="Berth 12", outputs=[2], output_names=["hoist"], known=True
)
SLOTS = event("slot.changed", slots=[{"slot": 7, "serial": "0048231907", "what": "added"}])


@pytest.mark.parametrize(
    ("wanted", "found", "shown"),
    [
        (Wanted(), PRESS, True),
        (Wanted(kinds=("use",)), PRESS, True),
        (Wanted(kinds=("movement",)), PRESS, False),
        (Wanted(kinds=("transmitter.heard",)), PRESS, True),
        (Wanted(kinds=("link.*", "transmitter.*")), PRESS, True),
        (Wanted(kinds=("link.*",)), PRESS, False),
        (Wanted(receivers=("quay",)), PRESS, True),
        (Wanted(receivers=("car-park",)), PRESS, False),
        (Wanted(gates=("hoist",), known_gates=GATES), PRESS, True),
        (Wanted(gates=("slip-gate",), known_gates=GATES), PRESS, False),
        (Wanted(gates=("slip-gate",), known_gates=GATES), event("input.changed", input=1, violated=True), True),
        (Wanted(gates=("slip-gate",), known_gates=GATES), event("input.changed", input=2, violated=True), False),
        (Wanted(gates=("slip-gate",), known_gates=GATES), event("condition.raised", gate="slip-gate"), True),
        (Wanted(holders=("berth 12",)), PRESS, True),
        (Wanted(holders=("0048231907",)), PRESS, True),
        (Wanted(holders=("0048231907",)), SLOTS, True),
        (Wanted(holders=("Berth 1",)), PRESS, False),
        (Wanted(kinds=("use",), holders=("Berth 9",)), PRESS, False),
        (Wanted(kinds=("use",)), event("journal.restarted"), True),
        (Wanted(kinds=("use",)), event("from.tomorrow"), False),
        (Wanted(), event("from.tomorrow"), True),
    ],
)
def test_what_is_shown(wanted: Wanted, found: dict[str, Any], shown: bool) -> None:
    """Kinds, gates, receivers and holders must all fit; that the list began anew is always said."""
    assert wanted.takes(found) is shown


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("90s", NOW - timedelta(seconds=90)),
        ("30m", NOW - timedelta(minutes=30)),
        ("2 h", NOW - timedelta(hours=2)),
        ("1d", NOW - timedelta(days=1)),
        ("2026-03-01T08:00+01:00", datetime(2026, 3, 1, 7, 0, tzinfo=UTC)),
        ("2026-03-01T08:00Z", datetime(2026, 3, 1, 8, 0, tzinfo=UTC)),
    ],
)
def test_since_when(text: str, wanted: datetime) -> None:
    """How long ago, or a time."""
    assert read_since(text, NOW) == wanted


@pytest.mark.parametrize("text", ["yesterday", "", "5", "h", "-3h"])
def test_a_time_that_is_none(text: str) -> None:
    """Told what to write."""
    with pytest.raises(typer.BadParameter, match="30m"):
        read_since(text, NOW)
