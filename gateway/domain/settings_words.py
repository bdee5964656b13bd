"""What an event `settings.changed` tells, in words: one part of a sentence for each thing that changed. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gateway.domain.output_names import renaming_words

__all__ = ["settings_words"]

_ORIGINS = {"board": " at the board", "line": " over the line", "radio": " by a transmitter"}


def settings_words(data: Mapping[str, Any]) -> list[str]:
    """Without a stop at the end; never empty. A field that is not there leaves a shorter text, never a hole."""
    if "password" in data:
        return ["the link password was changed"]
    if called := renaming_words(data):
        return called
    before, after = data.get("before") or {}, data.get("after") or {}
    origin = _ORIGINS.get(str(data.get("origin")), "")
    words = []
    times = zip(before.get("on_times_s", ()), after.get("on_times_s", ()), strict=False)
    for number, (old, new) in enumerate(times, 1):
        if old != new:
            words.append(f"the on-time of {_output(number, data)} was changed from {old} to {new} s{origin}")
    for key, what, on, off in (
        ("local_programming", "local programming", "allowed", "locked"),
        ("password_set", "the link password", "set", "switched off"),
    ):
        if before.get(key) != after.get(key):
            words.append(f"{what} was {on if after.get(key) else off}{origin}")
    return words or [f"a setting was changed{origin}"]


def _output(number: int, data: Mapping[str, Any]) -> str:
    names = data.get("names") or ()
    name = names[number - 1] if number <= len(names) else ""
    return f"output {number} ({name})" if name else f"output {number}"
