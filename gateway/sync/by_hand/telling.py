"""The events of receivers that no line reaches. Pure.

They are those of every receiver, with `by_hand` true and `proven` false, so that nobody takes them for more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any

from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import ChangeKind, Plan
from gateway.domain.receiver import Origin
from gateway.domain.revocation import Revocation
from gateway.domain.transmitter import write_serial
from gateway.domain.visit_sheet import Tick

__all__ = ["applied_event", "owed_event", "revocation_event", "slot_events"]


def slot_events(before: Mirror, after: Mirror, *, asked_by: str, tick: Tick | None) -> tuple[EventDraft, ...]:
    """One `slot.changed` for each block that differs."""
    blocks: defaultdict[int, list[dict[str, Any]]] = defaultdict(list)
    for number in sorted(before.slots.keys() | after.slots.keys()):
        old, new = before.slots.get(number), after.slots.get(number)
        if old == new:
            continue
        what = ChangeKind.ADDED if old is None else ChangeKind.REMOVED if new is None else ChangeKind.CHANGED
        slot = new or old
        assert slot is not None
        blocks[after.limits.block_of(number)].append(
            {"slot": number, "what": what.value, "serial": write_serial(slot.serial), "origin": Origin.BOARD.value}
        )
    shared = {
        "origin": Origin.BOARD.value,
        "revision": after.revision,
        "by_hand": True,
        "proven": False,
        "asked_by": asked_by,
    }
    if tick is not None:
        shared["done_by"] = tick.done_by
    return tuple(
        EventDraft(EventName.SLOT_CHANGED, after.receiver, {"block": block, "slots": slots, **shared})
        for block, slots in sorted(blocks.items())
    )


def revocation_event(receiver: str, revocation: Revocation) -> EventDraft:
    """A revoked transmitter was ticked as taken out."""
    data = {
        "serial": write_serial(revocation.serial),
        "asked_by": revocation.asked_by,
        "asked": revocation.time.isoformat(),
        "by_hand": True,
        "proven": False,
    }
    return EventDraft(EventName.REVOCATION_APPLIED, receiver, data)


def owed_event(receiver: str, revocation: Revocation) -> EventDraft:
    """A revoked transmitter is there after all: a tick was taken back, or it was learned all the same."""
    data = {
        "serial": write_serial(revocation.serial),
        "asked_by": revocation.asked_by,
        "reason": revocation.reason,
        "receivers": [receiver],
        "owed": [receiver],
        "by_hand": True,
    }
    return EventDraft(EventName.REVOCATION_PENDING, receiver, data)


def applied_event(plan: Plan) -> EventDraft:
    """Every line of a plan was ticked."""
    data: dict[str, Any] = {
        "plan": plan.id,
        "reason": plan.reason,
        "roster_digest": plan.roster_digest,
        **dict(_counts(plan)),
        "unchanged": plan.unchanged,
        "done": plan.done,
        "snapshot": plan.snapshot,
        "asked_by": "",
        "by_hand": True,
        "proven": False,
    }
    return EventDraft(EventName.PLAN_APPLIED, plan.receiver, data)


def _counts(plan: Plan) -> Iterator[tuple[str, int]]:
    for kind in (ChangeKind.ADDED, ChangeKind.CHANGED, ChangeKind.REMOVED):
        yield kind.value, plan.count(kind)
