"""A whole virtual receiver as people at the site meet it: power, transmitters, contacts, selectors, buttons.

It has no timer and no wire. Every call says what time it is (monotonic seconds) and first lets happen
what was due until then. What goes over the wire is `registers` and `writes`.
"""

from __future__ import annotations

import math
from dataclasses import replace

from gateway.domain.receiver import BoardEvent, Identity, Limits, Origin, OutputMode
from gateway.maps import ReceiverMap, Role
from gateway.virtual.board import Gesture
from gateway.virtual.keeping import Keeper
from gateway.virtual.memory import Memory
from gateway.virtual.running import Running
from gateway.virtual.slot_form import SlotForm

__all__ = ["MAKER", "PRODUCT", "VERSION", "VirtualReceiver"]

MAKER, PRODUCT, VERSION = "Fennel Electrics", "VR-8", "1.0"


class VirtualReceiver:
    """`running` is None while the power is off. `inputs` True means violated.

    `limits` are those of the receiver that it stands in for, as far as the map has room for them; counts alone come
    from `outputs`, `inputs` and `slots` without them.
    """

    def __init__(
        self,
        the_map: ReceiverMap,
        *,
        serial: str,
        outputs: int = 4,
        inputs: int = 4,
        slots: int = 1024,
        limits: Limits | None = None,
        keeper: Keeper | None = None,
    ) -> None:
        self.map = the_map
        self.identity = Identity(MAKER, PRODUCT, VERSION, serial, the_map.name, the_map.version)
        self.limits = _within(the_map.limits, limits, outputs, inputs, slots)
        self.memory = Memory(SlotForm(the_map.block(Role.SLOTS)), self.limits, keeper)
        self.inputs = [False] * inputs
        self.running: Running | None = None
        self._batteries: dict[int, str] = {}
        self._power_returns_at = math.inf

    # --- power and time ---

    def power_on(self, now: float) -> None:
        """Start, unless it is running: the boot count rises, everything volatile is new."""
        self._power_returns_at = math.inf
        if self.running is None:
            self.memory.start()
            self.running = Running(self.map, self.memory, now)

    def power_off(self, now: float, returns_at: float = math.inf) -> None:
        """The power goes; it comes back by itself at `returns_at`."""
        self.elapse(now)
        self.running = None
        self._power_returns_at = returns_at

    def elapse(self, now: float) -> Running | None:
        """Let happen what was due; the running receiver, None while the power is off."""
        if self.running is None and self._power_returns_at <= now:
            self.power_on(self._power_returns_at)
        if self.running is not None:
            self.running.elapse(now)
        return self.running

    # --- the site ---

    def press(self, serial: int, position: int, now: float, *, hold: bool = False) -> str:
        """A button of a transmitter, for a moment or until `release`; the board's word if it was for the board."""
        running = self.elapse(now)
        if running is None:
            return ""
        return running.press(serial, position, now, battery=self._batteries.get(serial, "good"), hold=hold)

    def release(self, serial: int, position: int, now: float) -> bool:
        """A held button comes up; False when it was not held."""
        running = self.elapse(now)
        return running is not None and running.radio.release(serial, position, now)

    def set_battery(self, serial: int, state: str) -> None:
        """What a transmitter's telegrams say of its battery: `unknown`, `good` or `low`."""
        self._batteries[serial] = state

    def set_input(self, number: int, violated: bool, now: float) -> None:
        """A contact moves; with the power off nobody notices."""
        running = self.elapse(now)
        if self.inputs[number - 1] != violated:
            self.inputs[number - 1] = violated
            if running is not None:
                running.tell(BoardEvent.INPUT, Origin.BOARD, now, number=number, value=int(violated))

    def set_mode(self, output: int, mode: OutputMode, now: float) -> None:
        """A selector is turned: its relay opens and works by the new mode from now on."""
        running = self.elapse(now)
        if self.memory.set_mode(output, mode) and running is not None:
            running.outputs.selector_turned(output, now)
            code = self.map.status_blocks[0].fields["modes"].code_of(mode)
            running.tell(BoardEvent.MODE, Origin.BOARD, now, number=output, value=code)

    def board(self, gesture: Gesture, output: int, now: float) -> str:
        """A gesture at the board for an output; its word."""
        running = self.elapse(now)
        return "refused no-power" if running is None else running.board.begin(gesture, output, now)

    def board_reset(self, now: float) -> str:
        """Hold the board's button: factory reset, whatever the locks say."""
        running = self.elapse(now)
        if running is None:
            return "refused no-power"
        running.reset(Origin.BOARD, now)
        return "saved"


def _within(most: Limits, wanted: Limits | None, outputs: int, inputs: int, slots: int) -> Limits:
    """The map's block size and ring stay: they are how its registers lie."""
    if wanted is None:
        return replace(most, outputs=outputs, inputs=inputs, slots=slots)
    return replace(
        most,
        outputs=wanted.outputs,
        inputs=wanted.inputs,
        slots=min(wanted.slots, most.slots),
        positions=min(wanted.positions, most.positions),
        name_bytes=min(wanted.name_bytes, most.name_bytes),
        on_time_min_s=wanted.on_time_min_s,
        on_time_max_s=wanted.on_time_max_s,
    )
