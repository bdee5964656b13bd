"""What must fit between gates and receivers: outputs that exist and move one gate, warnings, stops, inputs.

See `rules` for the form. The rules about stops and safety inputs are those of docs/operating.md.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from gateway.domain.gate import InputRole
from gateway.domain.operation import names_a_stop
from gateway.settings.gates import GateSettings, InputSettings
from gateway.settings.receivers import ReceiverSettings
from gateway.settings.tables import Tables

__all__ = ["gate_misfits"]

_ENDS = (InputRole.CLOSED, InputRole.OPEN)
_OF_A_GATE = (*_ENDS, InputRole.EXIT, InputRole.COMMAND, InputRole.SAFETY)
_Owners = Mapping[tuple[str, str], str]


def gate_misfits(tables: Tables) -> Iterator[str]:
    """All of them."""
    owners: dict[tuple[str, str], str] = {}
    for name, gate in tables.gates.items():
        yield from _outputs(name, gate, owners, tables)
    for name, gate in tables.gates.items():
        if (receiver := tables.receivers.get(gate.receiver)) is not None:
            yield from _stops(name, gate, receiver)
            if tables.sound("receivers", gate.receiver, "outputs"):
                yield from _warning(name, gate, owners, receiver)
    for name, receiver in tables.receivers.items():
        for number, each in receiver.inputs.items():
            yield from _input(f"receivers.{name}.inputs.{number}", each, tables)


def _named(receiver: ReceiverSettings) -> set[str]:
    return {output.casefold() for output in receiver.outputs.values()}


def _operated(gate: GateSettings, receiver: ReceiverSettings) -> list[str]:
    """The gate's outputs that may be operated from afar."""
    allowed = {output.casefold() for output in receiver.operate}
    return sorted(output for output in gate.outputs if output.casefold() in allowed)


def _outputs(name: str, gate: GateSettings, owners: dict[tuple[str, str], str], tables: Tables) -> Iterator[str]:
    """Also notes in `owners` which gate each output moves."""
    if gate.receiver not in (receivers := tables.names("receivers")):
        known = ", ".join(receivers)
        yield f"gates.{name}.receiver: there is no receiver “{gate.receiver}”; receivers are: {known}"
        return
    receiver = tables.receivers.get(gate.receiver) if tables.sound("receivers", gate.receiver, "outputs") else None
    for output in gate.outputs:
        if receiver is not None and output.casefold() not in _named(receiver):
            yield (
                f"gates.{name}.outputs: {gate.receiver} has no output named “{output}”; "
                f"name it under receivers.{gate.receiver}.outputs first"
            )
        elif (owner := owners.setdefault((gate.receiver, output.casefold()), name)) != name:
            yield f"gates.{name}.outputs: “{output}” already moves {owner}; an output moves one gate"


def _stops(name: str, gate: GateSettings, receiver: ReceiverSettings) -> Iterator[str]:
    """What is named after a stop is never operated from afar, whatever its output is called."""
    if (names_a_stop(name) or names_a_stop(gate.title)) and (operated := _operated(gate, receiver)):
        yield (
            f"gates.{name}: a gate named after a stop can't have outputs that are operated from afar "
            f"({', '.join(operated)}); an emergency stop works at the gate alone: take them out of "
            f"receivers.{gate.receiver}.operate"
        )


def _warning(name: str, gate: GateSettings, owners: _Owners, receiver: ReceiverSettings) -> Iterator[str]:
    if gate.warning is None:
        return
    output, place = gate.warning.output, f"gates.{name}.warning.output"
    if output.casefold() not in _named(receiver):
        yield (
            f"{place}: {gate.receiver} has no output named “{output}”; "
            f"name it under receivers.{gate.receiver}.outputs first"
        )
    elif (owner := owners.get((gate.receiver, output.casefold()))) is not None:
        yield f"{place}: “{output}” moves {owner}; a warning needs an output of its own"
    if names_a_stop(output):
        yield f"{place}: “{output}” is named after a stop, and that is never operated from afar; name another output"


def _input(place: str, each: InputSettings, tables: Tables) -> Iterator[str]:
    if each.gate is None:
        if each.role in _OF_A_GATE:
            yield f'{place}: an input with the role {each.role} needs its gate; write gate = "NAME"'
        return
    if each.gate not in (gates := tables.names("gates")):
        known = ", ".join(gates) or "none yet"
        yield f"{place}.gate: there is no gate “{each.gate}”; gates are: {known}"
    elif each.role is InputRole.SAFETY and each.normal == "high":
        yield from _turned_safety(place, each.gate, tables)


def _turned_safety(place: str, name: str, tables: Tables) -> Iterator[str]:
    """A safety input is never masked, turned round or bypassed while an output of its gate may be operated."""
    gate = tables.gates.get(name)
    receiver = tables.receivers.get(gate.receiver) if gate is not None else None
    if gate is not None and receiver is not None and (operated := _operated(gate, receiver)):
        yield (
            f"{place}.normal: a safety input can't be turned round while an output of its gate {name} may be operated "
            f"from afar ({', '.join(operated)}); have the input wired so that low is normal, or take the output "
            f"out of receivers.{gate.receiver}.operate"
        )
