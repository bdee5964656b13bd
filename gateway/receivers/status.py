"""One poll: the fields of the status blocks as a Status.

A plain board has its inputs and outputs in blocks of their own; fields of one name in several blocks are one
row, in the order of the blocks. What the map lacks is None.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gateway.domain.receiver import EnrolmentState, OutputMode, Status
from gateway.maps import Value
from gateway.receivers.values import flag_of, names_of, number_of, states_of, text_of

__all__ = ["decode_status", "join_blocks", "refusal_reason"]

_NO_REFUSAL = "none"


def join_blocks(blocks: Iterable[Mapping[str, Value]]) -> dict[str, Value]:
    """The fields of all status blocks together."""
    joined: dict[str, Value] = {}
    for values in blocks:
        for name, value in values.items():
            known = joined.get(name)
            rows = isinstance(known, tuple) and isinstance(value, tuple)
            joined[name] = (*known, *value) if rows else value  # type: ignore[misc]
    return joined


def refusal_reason(values: Mapping[str, Value]) -> str | None:
    """The map's name of the last refusal; None when there was none or the map does not tell."""
    reason = text_of(values, "last_refusal")
    return None if reason == _NO_REFUSAL else reason


def decode_status(values: Mapping[str, Value], *, outputs: int, inputs: int) -> Status:
    """The status of a receiver with this many outputs and inputs."""
    return Status(
        input_violated=states_of(values, "inputs")[:inputs],
        output_closed=states_of(values, "outputs")[:outputs],
        output_modes=_modes(values, outputs),
        map_version=number_of(values, "map_version"),
        boot_count=number_of(values, "boot_count"),
        uptime_s=number_of(values, "uptime_s"),
        revision=number_of(values, "revision"),
        newest_event=number_of(values, "newest_event"),
        oldest_event=number_of(values, "oldest_event"),
        local_programming=flag_of(values, "local_programming"),
        password_set=flag_of(values, "password_set"),
        unlocked_s=number_of(values, "unlocked_s"),
        enrolment=_enrolment(values),
        enrolment_left_s=number_of(values, "enrolment_left_s"),
        busy=bool(flag_of(values, "busy")),
        last_refusal=refusal_reason(values),
    )


def _modes(values: Mapping[str, Value], outputs: int) -> tuple[OutputMode, ...] | None:
    """None too when one of them is no mode that we know: a wrong mode would be worse than none."""
    names = names_of(values, "modes")
    if names is None:
        return None
    known = {mode.value: mode for mode in OutputMode}
    modes = tuple(known[name] for name in names[:outputs] if name in known)
    return modes if len(modes) == min(outputs, len(names)) else None


def _enrolment(values: Mapping[str, Value]) -> EnrolmentState | None:
    name = text_of(values, "enrolment")
    return next((state for state in EnrolmentState if state.value == name), None)
