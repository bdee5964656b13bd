"""From ring entries and status to events.

Pure. `View` is what has been told so far of inputs, outputs and modes; a change is told once, whether the ring or
the status shows it first, because only what differs from the view is told. After a loss (ring overrun, restart) the
view no longer says what came before the next entry, so it is `doubtful`: the next entry is told whatever it says,
and where none comes the status decides.

Presses come from the ring alone. Modes come from the status alone: a ring entry has the maker's code for a mode,
and a selector moved there and back between two looks is no news.
Entries about slots, settings and resets are not told here; `origins` remembers them for the mirror's events.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Battery, BoardEvent, OutputMode, RingEntry, Status
from gateway.domain.transmitter import write_serial

__all__ = ["Names", "Told", "View", "tell_differences", "tell_entries"]


def _no_holder(serial: int) -> str | None:
    return None


def _plain_label(serial: int, position: int) -> str:
    return str(position)


def _no_name(receiver: str, number: int) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Names:
    """Where words come from.

    Holder by serial; label (`1+2`) by serial and position number; what the settings call an output or an input, by
    receiver and number, empty when they have no name for it.
    """

    holder: Callable[[int], str | None] = _no_holder
    position: Callable[[int, int], str] = _plain_label
    output: Callable[[str, int], str] = _no_name
    input: Callable[[str, int], str] = _no_name


@dataclass(frozen=True, slots=True)
class View:
    """What has been told: one place per input and output, number 1 first."""

    inputs: tuple[bool, ...]
    outputs: tuple[bool, ...]
    modes: tuple[OutputMode, ...] | None
    doubtful: frozenset[tuple[EventName, int]] = field(default_factory=frozenset)

    @classmethod
    def of(cls, status: Status) -> View:
        """The view after everything in this status is told."""
        return cls(status.input_violated, status.output_closed, status.output_modes)

    def in_doubt(self) -> View:
        """The same after a loss: what the next entry changes from is unknown."""
        inputs = {(EventName.INPUT_CHANGED, n) for n in range(1, len(self.inputs) + 1)}
        outputs = {(EventName.OUTPUT_CHANGED, n) for n in range(1, len(self.outputs) + 1)}
        return replace(self, doubtful=frozenset(inputs | outputs))


@dataclass(frozen=True, slots=True)
class Told:
    """An event to tell, and the receiver's uptime when it happened, None when that is not known."""

    draft: EventDraft
    uptime_s: float | None = None


def tell_entries(
    receiver: str,
    entries: Iterable[RingEntry],
    view: View,
    mirror: Mirror | None,
    names: Names,
    *,
    batteries: Mapping[int, Battery] = MappingProxyType({}),
) -> tuple[list[Told], View]:
    """Events of ring entries, in their order, and the view after them. `batteries` by serial, as just read."""
    told: list[Told] = []
    for entry in entries:
        data: dict[str, Any]
        match entry.kind:
            case BoardEvent.PRESS:
                name, data = EventName.TRANSMITTER_HEARD, _press(receiver, entry, mirror, names)
                data["battery"] = batteries.get(entry.serial, Battery.UNKNOWN).value
            case BoardEvent.INPUT | BoardEvent.OUTPUT:
                name = EventName.INPUT_CHANGED if entry.kind is BoardEvent.INPUT else EventName.OUTPUT_CHANGED
                is_news, view = _see(view, name, entry.number, bool(entry.value))
                if not is_news:
                    continue
                data = _contact(receiver, name, entry.number, bool(entry.value), names)
                if name is EventName.OUTPUT_CHANGED:
                    data["origin"] = entry.origin.value
            case _:
                continue
        told.append(Told(EventDraft(name, receiver, data), entry.uptime_s))
    return told, view


def tell_differences(receiver: str, view: View, status: Status, names: Names) -> list[Told]:
    """What the status shows and was not told yet. The view after it is `View.of(status)`."""
    told = []
    for name, before, now in (
        (EventName.INPUT_CHANGED, view.inputs, status.input_violated),
        (EventName.OUTPUT_CHANGED, view.outputs, status.output_closed),
    ):
        for number in _differing(before, now):
            data = _contact(receiver, name, number, now[number - 1], names)
            told.append(Told(EventDraft(name, receiver, data)))
    before_modes, modes = view.modes or (), status.output_modes or ()
    for number in _differing(before_modes, modes) if before_modes else ():
        mode = {
            "output": number,
            "name": names.output(receiver, number),
            "mode": modes[number - 1].value,
            "before": before_modes[number - 1].value,
        }
        told.append(Told(EventDraft(EventName.OUTPUT_MODE_CHANGED, receiver, mode)))
    return told


def _press(receiver: str, entry: RingEntry, mirror: Mirror | None, names: Names) -> dict[str, Any]:
    slot = mirror.slots.get(entry.slot) if mirror and entry.slot else None
    outputs: frozenset[int] = frozenset()
    if slot is not None and slot.serial == entry.serial and 1 <= entry.position <= len(slot.outputs):
        outputs = slot.outputs[entry.position - 1]
    return {
        "serial": write_serial(entry.serial),
        "holder": names.holder(entry.serial),
        "position": names.position(entry.serial, entry.position),
        "slot": entry.slot or None,
        "outputs": sorted(outputs),
        "output_names": [names.output(receiver, output) for output in sorted(outputs)],
        "known": bool(entry.slot),
        "enrolling": entry.enrolling,
    }


def _contact(receiver: str, name: EventName, number: int, value: bool, names: Names) -> dict[str, Any]:
    if name is EventName.INPUT_CHANGED:
        return {"input": number, "name": names.input(receiver, number), "violated": value}
    return {"output": number, "name": names.output(receiver, number), "closed": value, "origin": None}


def _see(view: View, name: EventName, number: int, value: bool) -> tuple[bool, View]:
    """Whether this is news to the view, and the view after it."""
    states = view.inputs if name is EventName.INPUT_CHANGED else view.outputs
    if not 1 <= number <= len(states):
        return True, view
    doubtful = (name, number) in view.doubtful
    if states[number - 1] == value and not doubtful:
        return False, view
    after = (*states[: number - 1], value, *states[number:])
    view = replace(view, doubtful=view.doubtful - {(name, number)})
    view = replace(view, inputs=after) if name is EventName.INPUT_CHANGED else replace(view, outputs=after)
    return True, view


def _differing(before: Sequence[object], now: Sequence[object]) -> list[int]:
    return [number for number, (old, new) in enumerate(zip(before, now, strict=False), 1) if old != new]
