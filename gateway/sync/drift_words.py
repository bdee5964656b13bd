"""One drift as people see it: what other hands did, what becomes of it, and what can be said about it.

Pure. Outputs go by name and number, positions by the label of the transmitter's kind. Nothing parses the sentences.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from gateway.domain.drift import Decision, Drift, DriftItem, DriftKind, DriftPolicy, DriftState, Pairs
from gateway.domain.receiver import Origin, Slot
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.ports import ReceiverFacts

__all__ = ["decided_words", "drift_item", "rights_of"]

_ANY = BUILT_IN_KINDS["any"]
_WHERE = {Origin.BOARD: "at the board", Origin.LINE: "over the line by another tool", None: "by other hands"}
_VERBS = {DriftKind.EXTRA: "was added", DriftKind.MISSING: "was taken out", DriftKind.CHANGED: "was changed"}


def drift_item(
    drift: Drift,
    policy: DriftPolicy,
    facts: ReceiverFacts,
    zone: ZoneInfo,
    *,
    holder: str = "",
    kind: Kind = _ANY,
    held: Sequence[Slot] = (),
    was_there: bool = False,
) -> DriftItem:
    """`held` are the slots of this transmitter now. `was_there` marks one that was in it before Gatepost."""
    added = drift.given_pairs | drift.kept_pairs
    gained, lost = _rights(added, facts, kind), _rights(drift.taken_pairs, facts, kind)
    state = _state(drift, policy)
    rights = rights_of(frozenset(pair for slot in held for pair in slot.pairs), facts, kind)
    return DriftItem(
        receiver=drift.receiver,
        serial=drift.serial,
        holder=holder or _name(drift, held),
        kind=drift.kind,
        state=state,
        origin=drift.origin,
        since=None if was_there else drift.since,
        words=_there(drift, facts, holder or _name(drift, held), gained)
        if was_there
        else _words(drift, zone, holder or _name(drift, held), gained=gained, lost=lost),
        next_step=_next_step(drift, policy, state),
        gained=gained,
        lost=lost,
        todo=_todo(drift, state, rights),
        rights=rights,
        decisions=_decisions(drift),
        decided_by=drift.decided_by,
    )


def rights_of(pairs: Pairs, facts: ReceiverFacts, kind: Kind = _ANY) -> str:
    """The rights as a roster's row writes them: "1:slip-gate/gate 2:slip-gate/boat-hoist"."""
    return " ".join(
        f"{kind.label_of(place)}:{facts.name}/{facts.outputs.get(output) or output}" for place, output in sorted(pairs)
    )


def decided_words(decision: Decision, item: DriftItem | None, serial: int, receiver: str) -> str:
    """What was decided, in a sentence."""
    who = f"transmitter {write_serial(serial)}"
    match decision:
        case Decision.ADOPT:
            rights = item.rights if item else ""
            return f"What was added for {who} at {receiver} stays. Enter it in the roster: {rights}."
        case Decision.REMOVE:
            return f"What was added or changed for {who} at {receiver} is put right."
        case Decision.RESTORE:
            return f"What was taken from {who} at {receiver} is given back as the roster says."
        case Decision.REVOKE:
            return f"{who[0].upper()}{who[1:]} is revoked everywhere."


def _name(drift: Drift, held: Sequence[Slot]) -> str:
    slots: Mapping[int, Slot | None] = {0: drift.before, 1: held[0] if held else None, 2: drift.after}
    return next((slot.name for slot in slots.values() if slot is not None and slot.name), "")


def _state(drift: Drift, policy: DriftPolicy) -> DriftState:
    if drift.doomed and (drift.given_pairs or drift.other):
        return DriftState.GOING
    if drift.given_pairs or (drift.other and not drift.kept_other):
        return DriftState.GOING if policy is DriftPolicy.REMOVE else DriftState.OPEN
    if drift.kept_pairs or drift.other:
        return DriftState.ADOPTED
    return DriftState.STANDS if drift.stands(policy) else DriftState.GOING


def _decisions(drift: Drift) -> tuple[Decision, ...]:
    found = []
    if drift.given_pairs or (drift.other and not drift.kept_other):
        found.append(Decision.ADOPT)
    if (drift.given_pairs or drift.kept_pairs or drift.other) and not drift.doomed:
        found.append(Decision.REMOVE)
    if drift.taken_pairs:
        found.append(Decision.RESTORE)
    return (*found, Decision.REVOKE)


def _who(drift: Drift, name: str) -> str:
    return f"{name}, transmitter {write_serial(drift.serial)}," if name else f"Transmitter {write_serial(drift.serial)}"


def _there(drift: Drift, facts: ReceiverFacts, name: str, gained: Sequence[str]) -> str:
    works = _listed(gained)
    return f"{_who(drift, name)} was in {facts.name} before Gatepost and is not in the roster. It works {works}."


def _words(drift: Drift, zone: ZoneInfo, name: str, *, gained: Sequence[str], lost: Sequence[str]) -> str:
    where = _WHERE.get(drift.origin, _WHERE[None])
    told = f"{_who(drift, name)} {_VERBS[drift.kind]} {where} on {_day(drift.since, zone)}"
    parts = [f"it gained {_listed(gained)}" if gained else "", f"it lost {_listed(lost)}" if lost else ""]
    if drift.other:
        parts.append("its name, kind or flags are others now")
    done = ", ".join(part for part in parts if part)
    return f"{told}: {done}." if done else f"{told}."


def _listed(rights: Sequence[str]) -> str:
    return ", ".join(rights) or "nothing"


def _day(time: datetime, zone: ZoneInfo) -> str:
    local = time.astimezone(zone)
    return f"{local.day} {local:%B %Y, %H:%M}"


def _rights(pairs: Pairs, facts: ReceiverFacts, kind: Kind) -> tuple[str, ...]:
    return tuple(
        f"{facts.outputs.get(output) or f'output {output}'} on position {kind.label_of(place)}"
        for place, output in sorted(pairs)
    )


def _next_step(drift: Drift, policy: DriftPolicy, state: DriftState) -> str:
    added = {
        DriftState.OPEN: "It stays as it is, and nothing of it is written, until somebody decides.",
        DriftState.ADOPTED: "It stays until the roster has it or somebody drops it.",
        DriftState.GOING: "The next run of the roster puts it right.",
        DriftState.STANDS: "",
    }[state]
    if not drift.taken_pairs:
        return added
    if not drift.stands(policy):
        return "The next run of the roster gives back what was taken." if state is DriftState.GOING else added
    stays = "What was taken stays away until somebody restores it; no timetable gives it back."
    return f"{added} {stays}".strip()


def _todo(drift: Drift, state: DriftState, rights: str) -> str:
    if state is DriftState.ADOPTED:
        return f"Enter it in the roster: serial {write_serial(drift.serial)}, rights {rights}"
    return "Decide what becomes of it." if state in (DriftState.OPEN, DriftState.STANDS) else ""
