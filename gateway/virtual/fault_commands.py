"""The `fault` command: which words order which fault.

docs/virtual-receiver.md, "Faults", lists all of them, and a test holds it to `FAULTS`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from gateway.virtual.faults import AnswerFaults, WireFaults

__all__ = ["FAULTS", "Adapter", "CommandFault", "number", "order"]


class CommandFault(Exception):
    """A command that can't be done; its text says what to write instead."""


class Adapter(Protocol):
    """The adapter, to be pulled and put back."""

    def pull(self, for_s: float | None) -> None:
        """Gone, for so many seconds or until it is put back."""

    def put_back(self) -> None:
        """There again, as a new terminal behind the same link."""


def number(word: str, low: int, high: int) -> int:
    """A whole number within limits. Raises CommandFault."""
    if not (word.isascii() and word.isdigit() and low <= int(word) <= high):
        raise CommandFault(f"{word} is no number from {low} to {high}")
    return int(word)


def _real(word: str, low: float, high: float) -> float:
    try:
        value = float(word)
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        raise CommandFault(f"{word} is no number from {low:g} to {high:g}")
    return value


def _switch(word: str) -> bool:
    if word not in ("on", "off"):
        raise CommandFault(f"{word} is neither on nor off")
    return word == "on"


_MOST = 1_000_000
Orders = Callable[[AnswerFaults, WireFaults, list[str]], None]


def _noise(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    wire.noise = _real(words[0], 0, 1)


def _echo(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    wire.echo = _switch(words[0])


def _silence(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.silent = _switch(words[0])


def _drop(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.drop_next = number(words[0], 0, _MOST)


def _drop_every(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.drop_every = number(words[0], 0, _MOST)


def _cut(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.cut_at, answers.cut_next = number(words[0], 0, 256), _count(words)


def _late(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.late_s, answers.late_next = _real(words[0], 0, 3600), _count(words)


def _exception(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.exception_code, answers.exception_next = number(words[0], 1, 255), _count(words)


def _slow_write(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    answers.slow_write_s, answers.slow_write_next = _real(words[0], 0, 3600), _count(words)


def _power_cut(answers: AnswerFaults, wire: WireFaults, words: list[str]) -> None:
    after = number(words[0], 0, 6)
    answers.power_cut_s = _real(words[1], 0, 86_400) if len(words) > 1 else 1.0
    answers.power_cut_after = after


def _count(words: list[str]) -> int:
    return number(words[1], 0, _MOST) if len(words) > 1 else 1


#: Fault: how it is written behind `fault`, and what it sets. Square brackets may be left out.
FAULTS: dict[str, tuple[str, Orders]] = {
    "noise": ("noise RATE", _noise),
    "echo": ("echo on|off", _echo),
    "silence": ("silence on|off", _silence),
    "drop": ("drop COUNT", _drop),
    "drop-every": ("drop-every N", _drop_every),
    "cut": ("cut BYTES [COUNT]", _cut),
    "late": ("late SECONDS [COUNT]", _late),
    "exception": ("exception CODE [COUNT]", _exception),
    "slow-write": ("slow-write SECONDS [COUNT]", _slow_write),
    "power-cut": ("power-cut SLOTS [SECONDS]", _power_cut),
}


def order(answers: AnswerFaults, wire: WireFaults, adapter: Adapter, words: list[str]) -> str:
    """Order the fault that the words behind `fault` name. Raises CommandFault when they name none."""
    if words == ["none"]:
        _clear(answers, wire)
        adapter.put_back()
        return "ok"
    if words[:1] == ["adapter"]:
        return _order_adapter(adapter, words[1:])
    form, act = FAULTS.get(words[0], ("", None)) if words else ("", None)
    if act is None:
        raise CommandFault(f"there is no such fault; write one of {', '.join(FAULTS)}, adapter, none")
    most = form.count(" ")
    least = most - form.count("[")
    if not least <= len(words) - 1 <= most:
        raise CommandFault(f"write: fault {form}")
    act(answers, wire, words[1:])
    return "ok"


def _order_adapter(adapter: Adapter, words: list[str]) -> str:
    if words == ["back"]:
        adapter.put_back()
    elif words[:1] == ["gone"] and len(words) <= 2:
        adapter.pull(_real(words[1], 0, 86_400) if len(words) == 2 else None)
    else:
        raise CommandFault("write: fault adapter gone [SECONDS], or fault adapter back")
    return "ok"


def _clear(answers: AnswerFaults, wire: WireFaults) -> None:
    answers.silent = False
    answers.drop_next = answers.drop_every = answers.cut_next = answers.late_next = 0
    answers.exception_next = answers.slow_write_next = 0
    answers.power_cut_after = None
    wire.noise, wire.echo = 0.0, False
