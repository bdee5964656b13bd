"""From two states of a memory to the events that say what changed: per block, not per slot (rule 2).

Pure.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gateway.domain.events import EventDraft, EventName
from gateway.domain.matching import same_slot
from gateway.domain.plan import ChangeKind
from gateway.domain.receiver import Limits, Origin, ReceiverSettings, Slot
from gateway.domain.transmitter import write_serial

__all__ = ["SlotChange", "settings_event", "slot_changes", "slot_data", "slot_events"]


@dataclass(frozen=True, slots=True)
class SlotChange:
    """One slot before and after; None where it did not exist. `origin` None: not known."""

    number: int
    before: Slot | None
    after: Slot | None
    origin: Origin | None = None
    by_reset: bool = False

    @property
    def kind(self) -> ChangeKind:
        if self.before is None:
            return ChangeKind.ADDED
        return ChangeKind.REMOVED if self.after is None else ChangeKind.CHANGED

    @property
    def serials(self) -> tuple[int, ...]:
        """The transmitters concerned; two when the slot went from one to another."""
        return tuple(dict.fromkeys(slot.serial for slot in (self.before, self.after) if slot is not None))


def slot_changes(
    before: Mapping[int, Slot],
    after: Mapping[int, Slot],
    origin: Callable[[int], Origin | None],
    by_reset: Callable[[int], bool] = lambda number: False,
) -> list[SlotChange]:
    """What differs in the memory, ascending by slot. A slot that we wrote comes back with the memory's own padding."""
    differing = [n for n in sorted(before.keys() | after.keys()) if not same_slot(before.get(n), after.get(n))]
    return [SlotChange(n, before.get(n), after.get(n), origin(n), by_reset(n)) for n in differing]


def slot_data(change: SlotChange) -> dict[str, Any]:
    """One slot in an event's data; `reset` stands there for one that a reset took out."""
    data: dict[str, Any] = {
        "slot": change.number,
        "what": change.kind.value,
        "serial": write_serial(change.serials[-1]),
        "origin": change.origin.value if change.origin else None,
    }
    return data | {"reset": True} if change.by_reset else data


def slot_events(receiver: str, changes: Sequence[SlotChange], limits: Limits, revision: int) -> list[EventDraft]:
    """One `slot.changed` per block. Its `origin` is that of all its slots, None when they differ or it isn't known."""
    blocks: defaultdict[int, list[SlotChange]] = defaultdict(list)
    for change in changes:
        blocks[limits.block_of(change.number)].append(change)
    return [_block_event(receiver, block, blocks[block], revision) for block in sorted(blocks)]


def settings_event(
    receiver: str,
    before: ReceiverSettings,
    after: ReceiverSettings,
    origin: Origin | None,
    revision: int,
    *,
    names: Sequence[str] = (),
) -> EventDraft:
    """`settings.changed` with before and after; `names` are those of the outputs, output 1 first."""
    data = {
        "before": _settings_data(before),
        "after": _settings_data(after),
        "names": list(names),
        "origin": origin.value if origin else None,
        "revision": revision,
    }
    return EventDraft(EventName.SETTINGS_CHANGED, receiver, data)


def _block_event(receiver: str, block: int, changes: Sequence[SlotChange], revision: int) -> EventDraft:
    origins = {change.origin for change in changes}
    common = next(iter(origins)) if len(origins) == 1 else None
    data = {
        "block": block,
        "slots": [slot_data(change) for change in changes],
        "origin": common.value if common else None,
        "revision": revision,
    }
    return EventDraft(EventName.SLOT_CHANGED, receiver, data)


def _settings_data(settings: ReceiverSettings) -> dict[str, Any]:
    return {
        "on_times_s": list(settings.on_times_s),
        "local_programming": settings.local_programming,
        "password_set": settings.password_set,
    }
