"""The settings of gates, of the inputs that watch them, and of what conditions go by.

Part of the settings file (see `settings`). What stands here is turned into plain values of `domain`; nobody but the
start sees these models.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from gateway.domain.condition import ConditionLimits
from gateway.domain.gate import Closing, Contact, Gate, GateKind, InputRole
from gateway.domain.operation import WARNING_LEAST_S, Operable, Warning
from gateway.settings.base import Strict

__all__ = [
    "ConditionSettings",
    "GateSettings",
    "InputSettings",
    "WarningSettings",
    "build_gate",
    "build_gates",
    "build_operables",
]

_Seconds = Annotated[float, Field(ge=0, le=86_400)]


class InputSettings(Strict):
    """One input: its name, what it tells of, the gate it belongs to, and which of its two levels is the normal one."""

    name: str = ""
    role: InputRole = InputRole.OTHER
    gate: str | None = None
    normal: Literal["low", "high"] = "low"


class WarningSettings(Strict):
    """An output of the gate's receiver (light, sound) that works before the gate is operated from afar."""

    output: str
    seconds: Annotated[float, Field(ge=WARNING_LEAST_S, le=30)] = WARNING_LEAST_S


class GateSettings(Strict):
    """One gate, barrier or shutter. `outputs` are names of its receiver's outputs that move it.

    `warning` runs before an operation from afar alone; a transmitter's press is the receiver's own business.
    """

    title: Annotated[str, Field(max_length=64)] = ""
    kind: GateKind = GateKind.GATE
    receiver: str
    outputs: tuple[str, ...] = ()
    travel_s: Annotated[float, Field(ge=1, le=600)] = 30.0
    stay_open_limit_s: Annotated[float, Field(ge=5, le=604_800)] | Literal["none"] = 900.0
    closing: Closing = Closing.BY_COMMAND
    service_cycles: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    warning: WarningSettings | None = None


class ConditionSettings(Strict):
    """What conditions go by; see `domain.condition.ConditionLimits`."""

    travel_margin_s: _Seconds = 3.0
    command_window_s: _Seconds = 30.0
    contradict_s: _Seconds = 5.0
    chatter_changes: Annotated[int, Field(ge=3, le=10_000)] = 10
    chatter_quiet_s: Annotated[float, Field(ge=60, le=86_400)] = 90.0
    tamper_s: _Seconds = 0.0
    safety_s: _Seconds = 60.0
    power_s: _Seconds = 10.0
    silent_s: _Seconds = 60.0
    noise_percent: Annotated[float, Field(gt=0, le=100)] = 5.0
    noise_frames: Annotated[int, Field(ge=10, le=100_000)] = 200
    noise_window_s: Annotated[float, Field(ge=60, le=86_400)] = 300.0
    unknown_presses: Annotated[int, Field(ge=2, le=1000)] = 3
    unknown_window_s: _Seconds = 600.0
    unused_days: Annotated[int, Field(ge=1, le=3650)] | None = None
    clock_s: _Seconds = 3600.0

    @property
    def limits(self) -> ConditionLimits:
        return ConditionLimits(**self.model_dump())


class InputsMixin(Strict):
    """Inputs by number: a bare text is a name, a table says more."""

    inputs: dict[str, InputSettings] = Field(default_factory=dict)

    @field_validator("inputs", mode="before")
    @classmethod
    def _named(cls, inputs: Any) -> Any:
        if not isinstance(inputs, Mapping):
            return inputs
        return {number: {"name": given} if isinstance(given, str) else given for number, given in inputs.items()}

    @property
    def input_names(self) -> dict[int, str]:
        """Names of inputs by number."""
        return {int(number): each.name for number, each in self.inputs.items()}

    @property
    def inverted_inputs(self) -> frozenset[int]:
        """The inputs whose high level is the normal one."""
        return frozenset(int(number) for number, each in self.inputs.items() if each.normal == "high")

    def contacts(self, receiver: str) -> tuple[Contact, ...]:
        """The inputs as domain values."""
        return tuple(
            Contact(receiver, int(number), each.role, each.name, each.gate or "")
            for number, each in self.inputs.items()
        )


def build_gate(name: str, gate: GateSettings, outputs: Mapping[int, str], contacts: tuple[Contact, ...]) -> Gate:
    """The gate as a domain value. `outputs` are its receiver's, `contacts` those of all receivers."""
    wanted = {output.casefold() for output in gate.outputs}
    return Gate(
        name=name,
        title=gate.title or name.replace("-", " ").capitalize(),
        receiver=gate.receiver,
        kind=gate.kind,
        outputs=tuple(number for number, output in sorted(outputs.items()) if output.casefold() in wanted),
        contacts=tuple(contact for contact in contacts if contact.gate == name),
        travel_s=gate.travel_s,
        stay_open_limit_s=None if gate.stay_open_limit_s == "none" else gate.stay_open_limit_s,
        closing=gate.closing,
        service_cycles=gate.service_cycles,
    )


def build_gates(gates: Mapping[str, GateSettings], receivers: Mapping[str, Any]) -> tuple[Gate, ...]:
    """Every gate of the settings as a domain value; `receivers` are settings of receivers, by name."""
    contacts = tuple(contact for name, receiver in receivers.items() for contact in receiver.contacts(name))
    return tuple(
        build_gate(name, gate, receivers[gate.receiver].output_names, contacts) for name, gate in gates.items()
    )


def build_operables(
    gates: Mapping[str, GateSettings], receivers: Mapping[str, Any], built: Sequence[Gate]
) -> tuple[Operable, ...]:
    """Every named output, with whether it may be operated from afar and what has a say in it; `built` are the gates."""
    owners = {(gate.receiver, output): gate for gate in built for output in gate.outputs}
    found = []
    for name, receiver in receivers.items():
        allowed = {output.casefold() for output in receiver.operate}
        for number, output in sorted(receiver.output_names.items()):
            gate = owners.get((name, number))
            found.append(
                Operable(
                    receiver=name,
                    output=number,
                    name=output,
                    allowed=output.casefold() in allowed,
                    gate=gate.name if gate else "",
                    title=gate.title if gate else "",
                    safety=gate.contacts_of(InputRole.SAFETY) if gate else (),
                    warning=_warning(gates[gate.name], receiver) if gate else None,
                )
            )
    return tuple(found)


def _warning(gate: GateSettings, receiver: Any) -> Warning | None:
    if gate.warning is None:
        return None
    wanted = gate.warning.output.casefold()
    number = next(number for number, name in receiver.output_names.items() if name.casefold() == wanted)
    return Warning(number, gate.warning.output, gate.warning.seconds)
