"""What the journal last told of a receiver's inputs, outputs and modes.

A gateway that starts has told nothing yet itself; what the one before told decides what is news. The journal and the
ring's cursor move together, so what is recalled is the state at the cursor.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from gateway.domain.events import EventName
from gateway.domain.receiver import OutputMode, Status
from gateway.errors import StoreUnavailable
from gateway.ports import EventFilter, Journal
from gateway.watch.telling import View

__all__ = ["Recalled", "recall"]

#: How many of the newest events are looked through; our choice, several hundred changes for 16 contacts.
_LOOKED_THROUGH = 500
_CHANGES = frozenset({EventName.INPUT_CHANGED, EventName.OUTPUT_CHANGED, EventName.OUTPUT_MODE_CHANGED})


@dataclass(slots=True)
class Recalled:
    """Last told values by number, and when anything was last told."""

    inputs: dict[int, bool] = field(default_factory=dict)
    outputs: dict[int, bool] = field(default_factory=dict)
    modes: dict[int, OutputMode] = field(default_factory=dict)
    newest: datetime | None = None

    def view(self, status: Status) -> View:
        """What has been told. What never was stands as the status says, and its next ring entry is told in any case."""
        inputs = tuple(self.inputs.get(n, now) for n, now in enumerate(status.input_violated, 1))
        outputs = tuple(self.outputs.get(n, now) for n, now in enumerate(status.output_closed, 1))
        modes = status.output_modes and tuple(self.modes.get(n, now) for n, now in enumerate(status.output_modes, 1))
        untold_inputs = {(EventName.INPUT_CHANGED, n) for n in range(1, len(inputs) + 1) if n not in self.inputs}
        untold_outputs = {(EventName.OUTPUT_CHANGED, n) for n in range(1, len(outputs) + 1) if n not in self.outputs}
        return View(inputs, outputs, modes, frozenset(untold_inputs | untold_outputs))


async def recall(journal: Journal, receiver: str) -> Recalled:
    """Look through the newest events. A journal that can't be read recalls nothing."""
    found = Recalled()
    wanted = EventFilter(names=_CHANGES, receivers=frozenset({receiver}))
    try:
        events = await journal.read(0, limit=_LOOKED_THROUGH, wanted=wanted, newest_first=True)
    except StoreUnavailable:
        return found
    for event in events:
        found.newest = found.newest or event.time
        data = event.data
        if event.name is EventName.INPUT_CHANGED:
            found.inputs.setdefault(data["input"], data["violated"])
        elif event.name is EventName.OUTPUT_CHANGED:
            found.outputs.setdefault(data["output"], data["closed"])
        else:
            found.modes.setdefault(data["output"], OutputMode(data["mode"]))
    return found
