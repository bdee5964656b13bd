"""Gates, conditions and why-answers as the API sees them, set by the test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

from gateway.domain.condition import Acknowledgement, Condition, ConditionKind
from gateway.domain.gate import Contact, Gate, GatePosition, GateState, InputRole
from gateway.domain.why import Finding, Reason, Why
from gateway.errors import NotFound
from gateway.ports import LineCount

__all__ = ["FakeConditions", "FakeGates", "FakeLineCounts", "FakeWhys", "some_condition", "some_gate"]

_EIGHT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def some_gate(name: str = "slip-gate", *, receiver: str = "slip-gate", position: GatePosition) -> GateState:
    """A gate with a closed contact at input 1."""
    contact = Contact(receiver, 1, InputRole.CLOSED, "gate closed", name)
    gate = Gate(name, "Slip gate", receiver, outputs=(1,), contacts=(contact,), stay_open_limit_s=300.0)
    return GateState(gate, position, _EIGHT, f"Slip gate is {position.value} since 08:00.")


def some_condition(
    number: int = 1, kind: ConditionKind = ConditionKind.LEFT_OPEN, *, gate: str = "slip-gate"
) -> Condition:
    """A condition that is open."""
    raised = _EIGHT.replace(minute=number)
    return Condition(
        f"m1-c{number}", f"{kind}:{gate}", kind, "Slip gate is open.", _EIGHT, raised, receiver="slip-gate", gate=gate
    )


class FakeGates:
    """`ports.Gates`."""

    def __init__(self, *gates: GateState) -> None:
        self.kept = list(gates)

    def gates(self) -> tuple[GateState, ...]:
        return tuple(self.kept)

    def gate(self, name: str) -> GateState:
        for each in self.kept:
            if each.gate.name == name:
                return each
        raise NotFound(f"There is no gate {name}.", remedy="List the gates.")


class FakeConditions:
    """`ports.Conditions` without rules: what is acknowledged stays open."""

    def __init__(self, *conditions: Condition) -> None:
        self.kept = list(conditions)
        self.cleared: list[Condition] = []

    def open(self) -> tuple[Condition, ...]:
        return tuple(reversed(self.kept))

    def recent(self) -> tuple[Condition, ...]:
        return tuple(self.cleared)

    async def acknowledge(self, condition_id: str, *, name: str, note: str) -> Condition:
        for place, each in enumerate(self.kept):
            if each.id == condition_id:
                self.kept[place] = replace(each, acknowledged=Acknowledgement(name, note, _EIGHT))
                return self.kept[place]
        raise NotFound("No open condition has this id.", remedy="List the conditions.")


class FakeWhys:
    """`ports.Whys`: whoever is asked for was not heard."""

    def __init__(self, holders: Sequence[str] = ("Berth 12",)) -> None:
        self.holders = holders

    async def explain(self, holder: str) -> tuple[Why, ...]:
        if holder not in self.holders:
            raise NotFound(f"The roster has no holder {holder}.", remedy="Give the name as the roster has it.")
        answer = Finding(Reason.NOT_HEARD, "It was not heard.", "Press it near the receiver.")
        return (Why(holder, 48_231_907, answer, (answer,)),)


class FakeLineCounts:
    """`ports.LineCounts`; quiet until the test says otherwise."""

    def __init__(self) -> None:
        self.kept: dict[str, LineCount] = {}

    def counts(self) -> dict[str, LineCount]:
        return dict(self.kept)
