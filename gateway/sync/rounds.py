"""One run of the timetable: ask the source, then bring every receiver to the roster in force.

A source that fails, and a store that can't keep a new roster, leave the last good one in force, and the receivers are
brought to that one: a transmitter that was learned at the board in the meantime is found all the same.
"""

from __future__ import annotations

from gateway.domain.plan import Plan
from gateway.errors import GatepostError
from gateway.sync.due import Due
from gateway.sync.roster_keeper import RosterKeeper
from gateway.sync.runner import SyncRunner

__all__ = ["run_round"]


async def run_round(due: Due, *, desk: RosterKeeper, runner: SyncRunner) -> dict[str, Plan | GatepostError]:
    """The timetable's job. What went wrong at a receiver is in the place of its plan; nothing expected is raised."""
    await desk.fetch(due=due)
    return await runner.apply_all() if desk.in_force is not None else {}
