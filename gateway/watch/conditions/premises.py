"""The gates, contacts and limits that the settings describe: what never changes while the gateway runs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from zoneinfo import ZoneInfo

from gateway.domain.condition import ConditionLimits
from gateway.domain.gate import Contact, Gate

__all__ = ["Premises"]


@dataclass(frozen=True)
class Premises:
    """`contacts` has every input that the settings describe, also those of no gate; `line_of` is by receiver."""

    gates: tuple[Gate, ...] = ()
    contacts: tuple[Contact, ...] = ()
    limits: ConditionLimits = field(default_factory=ConditionLimits)
    line_of: Mapping[str, str] = field(default_factory=dict)
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))

    @cached_property
    def gate_by_name(self) -> Mapping[str, Gate]:
        return {gate.name: gate for gate in self.gates}

    @cached_property
    def contact_by_key(self) -> Mapping[str, Contact]:
        return {contact.key: contact for contact in self.contacts}

    def gates_moved_by(self, receiver: str, output: int) -> tuple[Gate, ...]:
        """The gates that an output of a receiver moves."""
        return tuple(gate for gate in self.gates if gate.receiver == receiver and output in gate.outputs)

    def gates_watched_by(self, receiver: str) -> tuple[Gate, ...]:
        """The gates whose position can't be known without this receiver."""
        return tuple(gate for gate in self.gates if receiver in gate.receivers)

    def title_of(self, gate: str) -> str:
        """What people call a gate."""
        found = self.gate_by_name.get(gate)
        return found.title if found else gate
