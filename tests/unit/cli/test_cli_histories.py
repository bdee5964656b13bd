"""What `roster history --on` says of days that are, and are not, recorded."""

from __future__ import annotations

from typing import Any

import pytest

from gateway.cli.histories import _print_day


def _day(*, recorded: bool) -> dict[str, Any]:
    receiver = {
        "receiver": "slip-gate", "recorded": recorded, "recorded_since": {"at": "2026-03-01T08:00:00.000Z"}, "gaps": [],
        "receipt": "", "receipt_time": None,
    }  # fmt: skip
    begin, end = "2026-03-02T00:00:00.000Z", "2026-03-03T00:00:00.000Z"
    return {"on": "2026-03-02", "zone": "UTC", "begin": begin, "end": end, "receivers": [receiver], "access": []}


@pytest.mark.parametrize("recorded", [True, False])
def test_a_day_that_is_not_recorded(recorded: bool, capsys: pytest.CaptureFixture[str]) -> None:
    """It is never shown as a day on which nobody had access (docs/history.md)."""
    _print_day(_day(recorded=recorded))
    said = capsys.readouterr().out
    assert ("Nobody had access, as far as is known." in said) is recorded
    assert ("Nothing is recorded of what it held on this day" in said) is not recorded
