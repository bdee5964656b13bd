"""A last moment and a first one in the roster of a running site: both happen by themselves, at their instant.

On the receiver with a line, written and proven; on the visit sheet of the one without, asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from tests.integration.yard import Yard, open_yard, until

ZONE = ZoneInfo("Europe/London")
STAYS, COMES, GOES = "0048200001", "0048200002", "0048200003"
SHED = '\n[receivers.boat-shed]\nkind = "manual"\nslots = 20\noutputs = { 1 = "gate" }\n'
GROUPS = """\
[groups.berth-holders]
slip-gate = { 1 = ["gate"] }
boat-shed = { 1 = ["gate"] }
"""


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_settings(
            roster=f'source = "{yard.roster}"\ngroups = "{yard.groups}"\nspread_s = 0', more=SHED
        )  # no timetable: whatever happens by itself is done by the timer
        yard.groups.write_text(GROUPS)
        yield yard


def _sheet(yard: Yard) -> dict[str, str]:
    """What the sheet of the boat shed asks for, by serial."""
    lines = yard.daemon.get("/receivers/boat-shed/visit-sheet")["lines"]
    return {line["serial"]: line["work"] for line in lines}


def _write(yard: Yard, change: datetime) -> None:
    time = change.astimezone(ZONE).replace(tzinfo=None).isoformat(timespec="seconds")
    yard.roster.write_text(
        "serial,holder,kind,group,valid_from,valid_until\n"
        f"{STAYS},Berth 1,two-button,berth-holders,,\n"
        f"{COMES},Berth 2,two-button,berth-holders,{time},\n"
        f"{GOES},Berth 3,two-button,berth-holders,,{time}\n"
    )


def test_who_begins_and_ends_does_so_by_itself(yard: Yard) -> None:
    """Said beforehand by status, preview and API; then done without a command, and proven."""
    change = datetime.now(ZONE).replace(microsecond=0) + timedelta(seconds=20)
    _write(yard, change)
    yard.start().wait_mirrored("slip-gate")
    held = [f"--transmitter={serial} 1:gate" for serial in (STAYS, GOES)]
    assert yard.run("visit-sheet", "holds", "boat-shed", *held).code == 0
    assert yard.run("roster", "apply").code == 0
    line = yard.lines["quayside"]
    assert set(line.rights()) == {STAYS, GOES}
    assert _sheet(yard) == {}
    told = yard.daemon.get("/roster")["next_change"]
    assert (datetime.fromisoformat(told["time"]), told["begin"], told["end"]) == (change, 1, 1)
    assert "The next change by date is" in yard.run("status").out
    until(lambda: set(line.rights()) == {STAYS, COMES}, "the change by date", 40)
    assert datetime.now(ZONE) >= change
    until(lambda: _sheet(yard) == {GOES: "remove", COMES: "learn"}, "the same on the sheet", 40)
    plan = until(
        lambda: found if (found := yard.daemon.get("/plans")["plans"][0])["state"] == "applied" else None, "it"
    )
    assert (plan["added"], plan["removed"]) == (1, 1)
    assert yard.daemon.get("/roster")["next_change"] is None
