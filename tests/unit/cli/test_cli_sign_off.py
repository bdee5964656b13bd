"""The sign-off sheet: date, site, outlet, each event with what became of it, and lines to sign."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from gateway.cli.sign_off import sheet_name, sign_off_sheet, write_sheet
from gateway.errors import Refused

GATEWAY = {"id": "fennel-quay", "version": "0.1.0"}
OUTLET = {"id": "station", "kind": "alarm", "place": "tcp://station.example:12000, account 1234"}


def _result(*outcomes: str) -> dict[str, Any]:
    results = [
        {
            "words": f"condition.raised (tamper|{n})",
            "event": f"test1-{n}",
            "outcome": outcome,
            "answer": "",
            "took_s": 0.1,
        }
        for n, outcome in enumerate(outcomes, 1)
    ]
    passed = set(outcomes) == {"delivered"}
    return {"outlet": "station", "passed": passed, "time": "2026-03-02T08:00:00.000Z", "results": results}


def test_the_sheet_has_everything_that_is_signed_for() -> None:
    """Also what did not arrive; a bar in an answer does not break the table."""
    text = sign_off_sheet(GATEWAY, OUTLET, _result("delivered", "rejected", "not-tried"))
    assert "- Site: fennel-quay" in text
    assert "- Outlet: station (alarm), to tcp://station.example:12000, account 1234" in text
    assert "- Date: 2026-03-02" in text
    assert "- Result: 1 of 3 arrived; not passed" in text
    rows = [line for line in text.splitlines() if line.startswith("| condition")]
    assert [row.count(" | ") for row in rows] == [5, 5, 5]
    assert "| was refused |" in rows[1]
    assert "For the site: ____" in text
    assert "For the other side: ____" in text


def test_all_arrived() -> None:
    """Said in so many words."""
    assert "2 of 2 arrived; passed" in sign_off_sheet(GATEWAY, OUTLET, _result("delivered", "delivered"))


def test_a_sheet_is_never_written_over(tmp_path: Path) -> None:
    """Its name has the outlet and the minute; a second one needs another name."""
    path = tmp_path / sheet_name("station", "2026-03-02T08:00:00.000Z")
    assert path.name.startswith("sign-off-station-202603")
    write_sheet(path, "first")
    with pytest.raises(Refused, match="--sheet"):
        write_sheet(path, "second")
    assert path.read_text() == "first"
