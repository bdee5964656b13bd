"""Lines and the receivers on them, or without one."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator

from gateway.domain.operation import names_a_stop
from gateway.settings.base import DriftWord, Name, Strict, refuse
from gateway.settings.gates import InputsMixin

__all__ = ["REGISTER_MAP", "LineSettings", "ReceiverSettings"]

REGISTER_MAP = "register-map"


class LineSettings(Strict):
    """One serial port. Use a path that stays the same when the adapter moves, below /dev/serial/by-id."""

    port: Annotated[str, Field(min_length=1)]
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 19_200
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    rs485: Literal["off", "adapter", "kernel"] = "off"
    echo: bool = False
    tries: Annotated[int, Field(ge=1, le=10)] = 3


_WIRED_KEYS = (
    "line", "address", "map", "driver", "polls_per_second", "link_password_file", "operate", "drift", "inputs",
)  # fmt: skip
_MANUAL_KEYS = ("slots", "positions", "output_count")


class ReceiverSettings(InputsMixin):
    """One receiver on a line: its address, its map, and the names that people give its outputs and inputs.

    Of kind `manual` no line reaches it: what it has room for is stated here, and a person carries out its plans.
    """

    kind: Literal["wired", "manual"] = "wired"
    line: Name = ""
    slots: Annotated[int, Field(ge=1, le=65_535)] | None = None
    positions: Annotated[int, Field(ge=1, le=8)] = 8
    output_count: Annotated[int, Field(ge=1, le=64)] | None = None
    address: Annotated[int, Field(ge=1, le=247)] = 1
    map: str = "reference"
    driver: str = REGISTER_MAP
    polls_per_second: Annotated[float, Field(gt=0, le=20)] = 5.0
    link_password_file: str | None = None
    outputs: dict[str, str] = Field(default_factory=dict)
    operate: tuple[str, ...] = ()
    drift: DriftWord | None = None

    @field_validator("outputs", "inputs")
    @classmethod
    def _numbered(cls, named: dict[str, Any]) -> dict[str, Any]:
        refuse(_wrongly_numbered(named))
        return named

    @field_validator("outputs")
    @classmethod
    def _writable_in_rosters(cls, names: dict[str, str]) -> dict[str, str]:
        refuse(
            f"“{name}” can't be written in a roster; use 1 to 32 characters without blanks and without : / , ;"
            for name in names.values()
            if not re.fullmatch(r"[^\s:/,;]{1,32}", name)
        )
        if wrong := [name for number, name in names.items() if name.isdecimal() and name != str(int(number))]:
            raise ValueError(f"“{wrong[0]}” is the number of another output; put a letter to the name")
        return names

    @property
    def output_names(self) -> dict[int, str]:
        """Names of outputs by number."""
        return {int(number): name for number, name in self.outputs.items()}

    @property
    def by_hand(self) -> bool:
        """Whether no line reaches it."""
        return self.kind == "manual"

    def _misfits(self) -> Iterator[str]:
        yield from self._odd_by_hand() if self.by_hand else self._odd_on_a_line()
        named = {name.casefold() for name in self.outputs.values()}
        for name in self.operate:
            if name.casefold() not in named:
                yield f"operate: there is no output named “{name}”; name it under outputs first"
            if names_a_stop(name):
                yield (
                    f"operate: “{name}” is named after a stop, and that is never operated from afar; take it out: "
                    "an emergency stop works at the gate alone, without Gatepost"
                )

    def _odd_on_a_line(self) -> Iterator[str]:
        if not self.line:
            yield 'line is needed: the line that it is on; or kind = "manual" when no line reaches it'
        for key in _MANUAL_KEYS:
            if key in self.model_fields_set:
                yield f'{key} is for kind = "manual"; a receiver on a line states it itself'

    def _odd_by_hand(self) -> Iterator[str]:
        for key in _WIRED_KEYS:
            if key in self.model_fields_set:
                yield f'{key} needs a line, and kind = "manual" has none; take one of the two out'
        if self.slots is None:
            yield 'slots is needed with kind = "manual": how many transmitters it has room for'
        highest = max(self.output_names, default=0)
        if not highest and self.output_count is None:
            yield 'outputs is needed with kind = "manual", for example outputs = { 1 = "gate" }'
        if self.output_count is not None and highest > self.output_count:
            yield f"output_count is {self.output_count}, but output {highest} has a name; correct one"


def _wrongly_numbered(named: dict[str, Any]) -> Iterator[str]:
    for number in named:
        if not (number.isdigit() and 1 <= int(number) <= 64):
            yield f'“{number}” is not a number; write for example outputs = {{ 1 = "gate" }}'
    first: dict[str, str] = {}
    for number, each in named.items():
        name = each if isinstance(each, str) else each.name
        if name and (other := first.setdefault(name.casefold(), number)) != number:
            yield f"{other} and {number} have the same name “{name}”; give each its own"
