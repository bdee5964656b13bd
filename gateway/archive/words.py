"""What snapshots say in plain words: a slot's rights, limits, on-times, modes.

Pure. Outputs are named by name and number, people by the name that the memory keeps. Nothing parses these sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gateway.domain.receiver import Limits, OutputMode, Slot
from gateway.domain.snapshot import Snapshot
from gateway.domain.transmitter import write_serial

__all__ = ["joined", "limits_words", "modes_words", "output_words", "rights_words", "taught_words", "who_words"]

_LIMITS = (
    ("outputs", "outputs"),
    ("inputs", "inputs"),
    ("slots", "slots"),
    ("positions", "positions of a transmitter"),
    ("name_bytes", "bytes for a name"),
    ("on_time_min_s", "s as the shortest on-time"),
    ("on_time_max_s", "s as the longest on-time"),
)


def joined(parts: Iterable[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    *first, last = parts
    return f"{', '.join(first)} and {last}" if first else last


def who_words(slot: Slot) -> str:
    """ "Berth 12 (transmitter 0048231907)"."""
    serial = f"transmitter {write_serial(slot.serial)}"
    return f"{slot.name} ({serial})" if slot.name else serial


def output_words(number: int, names: Mapping[int, str]) -> str:
    """ "output 3 (boat-hoist)"."""
    name = names.get(number, "")
    return f"output {number} ({name})" if name else f"output {number}"


def rights_words(slot: Slot, names: Mapping[int, str]) -> str:
    """ "position 1 works output 1 (gate); position 3 works output 2 (light)"."""
    return "; ".join(
        f"position {place} works {joined(output_words(output, names) for output in sorted(group))}"
        for place, group in enumerate(slot.outputs, 1)
        if group
    )


def limits_words(before: Limits, after: Limits, left: str, right: str) -> tuple[str, ...]:
    """Every limit that differs; one that the right side does not have at all, as without a line, is none."""
    return tuple(
        f"{left} has {getattr(before, name)} {what}, {right} has {getattr(after, name)}."
        for name, what in _LIMITS
        if getattr(before, name) != getattr(after, name) != 0
    )


def modes_words(
    wanted: tuple[OutputMode, ...] | None, now: tuple[OutputMode, ...] | None, outputs: int, names: Mapping[int, str]
) -> tuple[str, ...]:
    """What to set with the selectors on the board, output by output; only a person there can."""
    if wanted is None:
        return ()
    found = []
    for number, mode in enumerate(wanted[:outputs], 1):
        is_now = now[number - 1] if now is not None and number <= len(now) else None
        if is_now is not mode:
            state = f"it is {is_now.value} now" if is_now else "how it stands now is not known"
            found.append(f"Set {output_words(number, names)} to {mode.value} at the board; {state}.")
    return tuple(found)


def taught_words(snapshot: Snapshot, outputs: int, names: Mapping[int, str]) -> tuple[str, ...]:
    """What to teach with the board's buttons where no line sets it: the on-time of every output that was timed."""
    if snapshot.settings is None:
        return ()
    modes = snapshot.output_modes or (OutputMode.TIMED,) * outputs
    times = list(zip(snapshot.settings.on_times_s, modes, strict=False))[:outputs]
    return tuple(
        f"Teach {output_words(number, names)} an on-time of {seconds} s at the board, as it had."
        for number, (seconds, mode) in enumerate(times, 1)
        if mode is OutputMode.TIMED
    )
