"""What stands at this moment, for those who ask later instead of listening: receivers and gates as documents.

What can't be read now is null, never the last good value. No times of polls are in it, so that a document changes
only when something did.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from gateway.domain.cloudevents import write_time
from gateway.domain.gate import GateState
from gateway.domain.live import LinkState, LiveReceiver
from gateway.ports import LiveView, ReceiverFacts

__all__ = ["Standing", "gate_document", "receiver_document"]


class Standing:
    """Documents by their place (`receivers/slip-gate/state`)."""

    def __init__(
        self, live: LiveView, facts: Sequence[ReceiverFacts], gates: Callable[[], Sequence[GateState]] = tuple
    ) -> None:
        self._live = live
        self._facts = {each.name: each for each in facts}
        self._gates = gates

    def documents(self) -> Mapping[str, Mapping[str, Any]]:
        """All of them, now."""
        receivers = {
            f"receivers/{live.name}/state": receiver_document(
                live, self._facts.get(live.name, ReceiverFacts(live.name, {}))
            )
            for live in self._live.receivers()
        }
        return receivers | {f"gates/{state.gate.name}/state": gate_document(state) for state in self._gates()}


def receiver_document(live: LiveReceiver, facts: ReceiverFacts) -> dict[str, Any]:
    """Link, inputs and outputs; those are null while the receiver is not online."""
    status = live.status if live.link is LinkState.ONLINE else None
    inputs = outputs = None
    if status is not None:
        inputs = [
            {"number": number, "name": facts.inputs.get(number, ""), "violated": violated}
            for number, violated in enumerate(status.input_violated, 1)
        ]
        outputs = [
            {"number": number, "name": facts.outputs.get(number, ""), "closed": closed}
            for number, closed in enumerate(status.output_closed, 1)
        ]
    return {
        "link": live.link.value,
        "since": write_time(live.since),
        "problem": live.problem,
        "inputs": inputs,
        "outputs": outputs,
    }


def gate_document(state: GateState) -> dict[str, Any]:
    """Position, since when, and how many conditions are open on it."""
    return {
        "position": state.position.value,
        "since": write_time(state.since) if state.since else None,
        "reason": state.reason,
        "conditions": len(state.conditions),
    }
