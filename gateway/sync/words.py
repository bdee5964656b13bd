"""What a change, a plan and a hold are in plain words, and the plan as a JSON document.

Pure. Sentences name outputs by name and number, positions by the label of the transmitter's kind, people by their
holder name. They are for API, command, page and papers; nothing parses them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gateway.domain.plan import Change, ChangeKind, Plan
from gateway.domain.receiver import Slot
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.ports import ReceiverFacts

__all__ = ["Person", "change_words", "joined", "plan_counts", "plan_document", "plan_summary", "slot_document"]

_ANY = BUILT_IN_KINDS["any"]


@dataclass(frozen=True, slots=True)
class Person:
    """The holder's name and the kind of transmitter, for words; both may be unknown."""

    holder: str = ""
    kind: Kind = _ANY


def change_words(before: Slot | None, after: Slot | None, facts: ReceiverFacts, person: Person, why: str = "") -> str:
    """One change: "slot 118: Berth 12, four-button transmitter 0048231907, loses output 3 (boat-hoist)"."""
    slot = after or before
    if slot is None:
        raise ValueError("a change without before and after")
    head = f"slot {slot.number}: {_subject(slot, person)}"
    if after is None:
        return f"{head}, is removed{f' ({why})' if why else ''}"
    if before is None:
        return f"{head}, is added: {_all_rights(after, facts, person.kind)}"
    return f"{head}, {joined(_differences(before, after, facts, person.kind))}"


def plan_counts(plan: Plan) -> str:
    """ "3 added, 1 changed, 2 removed, 381 unchanged"."""
    return (
        f"{plan.count(ChangeKind.ADDED)} added, {plan.count(ChangeKind.CHANGED)} changed, "
        f"{plan.count(ChangeKind.REMOVED)} removed, {plan.unchanged} unchanged"
    )


def plan_summary(plan: Plan) -> str:
    """ "3 added, 1 changed, 2 removed, 381 unchanged; about 4 s on the wire"."""
    counts = plan_counts(plan)
    if not plan.changes:
        return f"{counts}; nothing to write"
    return f"{counts}; {_about(plan.wire_s)} on the wire" if plan.wire_s else f"{counts}; to be done by hand"


def joined(parts: list[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def plan_document(plan: Plan) -> dict[str, Any]:
    """The plan as JSON, with every change before and after."""
    return {
        "id": plan.id,
        "receiver": plan.receiver,
        "state": plan.state.value,
        "reason": plan.reason,
        "created": plan.created.isoformat(),
        "roster_digest": plan.roster_digest,
        "base_revision": plan.base_revision,
        "summary": plan_summary(plan),
        "added": plan.count(ChangeKind.ADDED),
        "changed": plan.count(ChangeKind.CHANGED),
        "removed": plan.count(ChangeKind.REMOVED),
        "unchanged": plan.unchanged,
        "slots_touched": len({change.slot for change in plan.changes}),
        "wire_s": round(plan.wire_s, 3),
        "done": plan.done,
        "hold": plan.hold,
        "outcome": plan.outcome,
        "snapshot": plan.snapshot,
        "receipt": plan.receipt,
        "left_out": list(plan.left_out),
        "changes": [_change_document(change) for change in plan.changes],
    }


def slot_document(slot: Slot | None) -> dict[str, Any] | None:
    """A slot as JSON; positions that work nothing are left out."""
    if slot is None:
        return None
    return {
        "slot": slot.number,
        "serial": write_serial(slot.serial),
        "kind": slot.kind,
        "name": slot.name,
        "outputs": {str(place): sorted(group) for place, group in enumerate(slot.outputs, 1) if group},
        "flags": slot.flags,
    }


def _change_document(change: Change) -> dict[str, Any]:
    return {
        "kind": change.kind.value,
        "slot": change.slot,
        "words": change.words,
        "revoked": change.revoked,
        "guarded": change.guarded,
        "before": slot_document(change.before),
        "after": slot_document(change.after),
    }


def _subject(slot: Slot, person: Person) -> str:
    name = person.holder or slot.name or "a transmitter that the roster does not know"
    kind = "" if person.kind.name == _ANY.name else f"{person.kind.name} "
    return f"{name}, {kind}transmitter {write_serial(slot.serial)}"


def _output(number: int, names: Mapping[int, str]) -> str:
    name = names.get(number, "")
    return f"output {number} ({name})" if name else f"output {number}"


def _all_rights(slot: Slot, facts: ReceiverFacts, kind: Kind) -> str:
    rights = []
    for place, group in enumerate(slot.outputs, 1):
        if group:
            outputs = joined([_output(number, facts.outputs) for number in sorted(group)])
            rights.append(f"position {kind.label_of(place)} works {outputs}")
    return "; ".join(rights)


def _differences(before: Slot, after: Slot, facts: ReceiverFacts, kind: Kind) -> list[str]:
    """What a person gains and loses; an output gained or lost as a whole is said without its position."""
    lost = before.pairs - after.pairs
    gained = after.pairs - before.pairs
    parts = [*_moved(gained, before, "gains", facts, kind), *_moved(lost, after, "loses", facts, kind)]
    if before.name != after.name:
        parts.append(f"is now called {after.name!r}" if after.name else "has no name any more")
    if before.kind != after.kind:
        parts.append(f"is now written as a {kind.name} transmitter")
    return parts or ["is written anew"]


def _moved(pairs: frozenset[tuple[int, int]], other: Slot, verb: str, facts: ReceiverFacts, kind: Kind) -> list[str]:
    elsewhere = {output for _, output in other.pairs}
    whole = sorted({output for _, output in pairs if output not in elsewhere})
    parts = [_output(output, facts.outputs) for output in whole]
    parts += [
        f"{_output(output, facts.outputs)} on position {kind.label_of(place)}"
        for place, output in sorted(pairs)
        if output in elsewhere
    ]
    return [f"{verb} {joined(parts)}"] if parts else []


def _about(seconds: float) -> str:
    if seconds < 1:
        return "less than 1 s"
    return f"about {seconds:.0f} s" if seconds < 120 else f"about {seconds / 60:.0f} min"
