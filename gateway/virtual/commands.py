"""Lines of text that drive virtual receivers while they run: from a keyboard, a socket or a scenario file.

`[@ADDRESS|@NAME] VERB ARGUMENTS`; the first receiver is meant when none is named. Every line is answered with
one line: `ok`, the board's word, JSON for `show`, or `error: ` and what to write instead. docs/virtual-receiver.md
lists all of them, and a test holds it to `VERBS`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.domain.receiver import OutputMode
from gateway.domain.transmitter import SerialForm
from gateway.errors import GatepostError
from gateway.virtual import fault_commands, showing
from gateway.virtual.board import Gesture
from gateway.virtual.fault_commands import Adapter, CommandFault, number
from gateway.virtual.plain import PlainUnit
from gateway.virtual.requests import ReceiverUnit
from gateway.virtual.station import Station

__all__ = ["VERBS", "Commands", "Member"]

_FORM = SerialForm()
_OFF_ON = {"off": False, "on": True}
_INPUT_STATES = {"normal": False, "violated": True}
_OUTPUT_STATES = {"open": False, "closed": True}
_BATTERIES = ("unknown", "good", "low")


@dataclass(frozen=True, slots=True)
class Member:
    """A receiver on the line, and how commands may call it."""

    address: int
    name: str
    unit: ReceiverUnit | PlainUnit


class Commands:
    """Runs command lines. `quit` is called by the command of that name."""

    def __init__(
        self,
        clock: Clock,
        members: Sequence[Member],
        *,
        station: Station,
        adapter: Adapter,
        quit_: Callable[[], None],
    ) -> None:
        self._clock = clock
        self._members = members
        self._station = station
        self._adapter = adapter
        self._quit = quit_

    def run(self, line: str) -> str:
        """Do what one line says; the line to answer with. Empty lines and `#` comments are answered with nothing."""
        words = line.split("#", 1)[0].split()
        if not words:
            return ""
        try:
            member = self._named(words.pop(0)) if words[0].startswith("@") else self._members[0]
            if not words:
                raise CommandFault("there is no command behind the receiver's name")
            return self._do(member, words[0], words[1:])
        except (CommandFault, GatepostError) as fault:
            return f"error: {fault}"

    def _named(self, word: str) -> Member:
        for member in self._members:
            if word[1:] in (str(member.address), member.name):
                return member
        known = ", ".join(f"@{member.name or member.address}" for member in self._members)
        raise CommandFault(f"there is no receiver {word}; write {known}")

    def _do(self, member: Member, verb: str, words: list[str]) -> str:
        now = self._clock.monotonic()
        if verb == "quit":
            self._quit()
            return "ok"
        if verb == "help":
            return "commands: " + ", ".join(VERBS)
        if verb == "fault":
            return fault_commands.order(member.unit.faults, self._station.faults, self._adapter, words)
        if verb == "show":
            return json.dumps(showing.show(member.unit, self._station, words, now), ensure_ascii=False)
        if isinstance(member.unit, PlainUnit):
            return _do_plain(member.unit, verb, words)
        action = _RECEIVER_VERBS.get(verb)
        if action is None:
            raise CommandFault(f"there is no command {verb}; help lists all")
        return action(member.unit, words, now)


def _take(words: list[str], count: int, form: str) -> list[str]:
    if len(words) != count:
        raise CommandFault(f"write: {form}")
    return words


def _choose(word: str, choices: Mapping[str, bool] | Sequence[str]) -> str:
    if word not in choices:
        raise CommandFault(f"{word} is none of {', '.join(choices)}")
    return word


def _button(words: list[str], verb: str) -> tuple[int, int]:
    serial, position = _take(words, 2, f"{verb} SERIAL POSITION")
    return _serial(serial), number(position, 1, 8)


def _serial(word: str) -> int:
    try:
        return _FORM.read(word)
    except ValueError as fault:
        raise CommandFault(f"{word} is no serial; write up to ten digits") from fault


def _running(unit: ReceiverUnit, now: float) -> None:
    if unit.receiver.elapse(now) is None:
        raise CommandFault("the power is off; write: power on")


def _press(unit: ReceiverUnit, words: list[str], now: float) -> str:
    _running(unit, now)
    return unit.receiver.press(*_button(words, "press"), now) or "ok"


def _hold(unit: ReceiverUnit, words: list[str], now: float) -> str:
    _running(unit, now)
    return unit.receiver.press(*_button(words, "hold"), now, hold=True) or "ok"


def _release(unit: ReceiverUnit, words: list[str], now: float) -> str:
    _running(unit, now)
    if not unit.receiver.release(*_button(words, "release"), now):
        raise CommandFault("that button is not held")
    return "ok"


def _battery(unit: ReceiverUnit, words: list[str], now: float) -> str:
    serial, state = _take(words, 2, "battery SERIAL unknown|good|low")
    unit.receiver.set_battery(_serial(serial), _choose(state, _BATTERIES))
    return "ok"


def _input(unit: ReceiverUnit, words: list[str], now: float) -> str:
    which, state = _take(words, 2, "input N normal|violated")
    place = number(which, 1, unit.receiver.limits.inputs)
    unit.receiver.set_input(place, _INPUT_STATES[_choose(state, _INPUT_STATES)], now)
    return "ok"


def _mode(unit: ReceiverUnit, words: list[str], now: float) -> str:
    which, mode = _take(words, 2, "mode N latching|timed|momentary")
    output = number(which, 1, unit.receiver.limits.outputs)
    unit.receiver.set_mode(output, OutputMode(_choose(mode, [str(each) for each in OutputMode])), now)
    return "ok"


def _board(unit: ReceiverUnit, words: list[str], now: float) -> str:
    _running(unit, now)
    running = unit.receiver.running
    assert running is not None
    if not words:
        return running.board.word
    if words == ["reset"]:
        return unit.receiver.board_reset(now)
    if words == ["cancel"]:
        running.board.cancel()
        return "ok"
    gesture, output = _take(words, 2, "board learn|unlearn|time OUTPUT, board reset, board cancel, or board")
    chosen = Gesture(_choose(gesture, [str(each) for each in Gesture]))
    return unit.receiver.board(chosen, number(output, 1, unit.receiver.limits.outputs), now)


def _power(unit: ReceiverUnit, words: list[str], now: float) -> str:
    (state,) = _take(words, 1, "power off|on")
    if _OFF_ON[_choose(state, _OFF_ON)]:
        unit.receiver.power_on(now)
    else:
        unit.receiver.power_off(now)
    return "ok"


_RECEIVER_VERBS: dict[str, Callable[[ReceiverUnit, list[str], float], str]] = {
    "press": _press,
    "hold": _hold,
    "release": _release,
    "battery": _battery,
    "input": _input,
    "mode": _mode,
    "board": _board,
    "power": _power,
}

#: Every command there is.
VERBS = (*_RECEIVER_VERBS, "output", "fault", "show", "help", "quit")


def _do_plain(unit: PlainUnit, verb: str, words: list[str]) -> str:
    if verb == "input":
        which, state = _take(words, 2, "input N normal|violated")
        unit.inputs[number(which, 1, len(unit.inputs)) - 1] = _INPUT_STATES[_choose(state, _INPUT_STATES)]
    elif verb == "output":
        which, state = _take(words, 2, "output N open|closed")
        unit.outputs[number(which, 1, len(unit.outputs)) - 1] = _OUTPUT_STATES[_choose(state, _OUTPUT_STATES)]
    elif verb == "power":
        (state,) = _take(words, 1, "power off|on")
        unit.powered = _OFF_ON[_choose(state, _OFF_ON)]
        unit.outputs = [False] * len(unit.outputs) if not unit.powered else unit.outputs
    else:
        raise CommandFault(f"a relay and input board has no {verb}; write input, output, power, fault, show or quit")
    return "ok"
