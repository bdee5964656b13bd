"""One start of a receiver: everything that a power cut wipes out.

The ring and its uptime, relays, what is in the air, the lock, enrolment listening, nonces, the last refusal. Nothing
here needs a timer: `elapse` catches up with everything that fell due since, each at its own moment, whenever
somebody looks. Times are monotonic seconds given by the caller.
"""

from __future__ import annotations

import math
from collections import deque

from gateway.domain.receiver import BoardEvent, Origin, RingEntry, RingPlace
from gateway.maps import ReceiverMap, Role
from gateway.virtual.board import Board, BoardChange
from gateway.virtual.lock import Lock
from gateway.virtual.memory import Memory
from gateway.virtual.outputs import Cause, Outputs
from gateway.virtual.radio import Radio
from gateway.virtual.ring import Ring

__all__ = ["NONCES", "Running"]

NONCES = 16  # how many nonces of operations are remembered (our choice)
#: Refusals that also become events; the others are a busy client's own and would flood the ring.
_TOLD = frozenset({"password-wrong", "board-locked", "memory-full", "unknown-transmitter", "mode-forbids", "key-wrong"})


class Running:
    """A receiver under power since `started_at`."""

    def __init__(self, the_map: ReceiverMap, memory: Memory, started_at: float) -> None:
        self.memory = memory
        self.started_at = started_at
        self.ring = Ring(the_map.block(Role.RING))
        self.lock = Lock(memory)
        self.outputs = Outputs(memory, self._output_moved)
        self.radio = Radio()
        self.board = Board(memory, self._board_changed, self._board_refused)
        self.listening_until = started_at
        self.busy_until = started_at
        self.nonces: deque[int] = deque(maxlen=NONCES)
        self.last_refusal = "none"
        self.heard: dict[int, int] = {}  # slot: uptime in tenths
        self.batteries: dict[int, str] = {}  # slot: code
        self._refusal_codes = the_map.status_blocks[0].fields["last_refusal"]
        self._block = the_map.block(Role.SLOT_VOLATILE)
        self.tell(BoardEvent.START, Origin.BOARD, started_at)

    def elapse(self, now: float) -> None:
        """Let everything happen that was due until now, in the order of its time."""
        while True:
            radio, outputs, board = self.radio.next_due, self.outputs.next_due, self.board.next_due
            if min(radio, outputs, board) > now:
                return
            if radio <= min(outputs, board):
                (serial, position), at = self.radio.elapse()
                self.outputs.release(serial, position, at)
            elif outputs <= board:
                self.outputs.elapse(now)
            else:
                self.board.cancel()

    def listening(self, at: float) -> bool:
        """Whether the receiver listens for enrolment."""
        return at < self.listening_until

    def listening_left_s(self, at: float) -> int:
        """Whole seconds of listening left, rounded up."""
        return max(0, math.ceil(self.listening_until - at))

    def press(self, serial: int, position: int, at: float, *, battery: str = "", hold: bool = False) -> str:
        """A telegram of a transmitter, or the beginning of many; the board's word when it was for the board.

        `repeated` when it belongs to a press that is still under way.
        """
        fresh = self.radio.hold(serial, position) if hold else self.radio.telegram(serial, position, at)
        if not fresh:
            return "repeated"
        slot = self.memory.find(serial) or 0
        self._note(slot, battery, at)
        self.tell(
            BoardEvent.PRESS,
            Origin.RADIO,
            at,
            serial=serial,
            slot=slot,
            position=position,
            enrolling=self.listening(at),
        )
        word = self.board.heard(serial, position, at)
        if not word and slot:
            cause = Cause(Origin.RADIO, serial, slot, position)
            for output in sorted(self.memory.slots[slot].outputs[position - 1]):
                self.outputs.press(output, cause, at)
        return word

    def refuse(self, reason: str, origin: Origin, at: float) -> None:
        """Remember a refusal, and tell of it when it is one that people should see."""
        self.last_refusal = reason
        if reason in _TOLD:
            self.tell(BoardEvent.REFUSAL, origin, at, value=self._refusal_codes.code_of(reason))

    def slots_changed(self, numbers: list[int], serial: int, at: float) -> None:
        """A request of the line changed these slots: one event for all of them."""
        for number in numbers:
            self._forget_volatile(number)
        self.tell(BoardEvent.SLOT, Origin.LINE, at, slot=numbers[0], serial=serial, value=len(numbers))

    def volatile_of(self, slot: int) -> bytes:
        """The volatile record of a slot."""
        battery = self.batteries.get(slot, "unknown")
        return self._block.encode({"heard": self.heard.get(slot, 0), "battery": battery})

    def reset(self, origin: Origin, at: float) -> None:
        """Back to the factory state; unlocked time and waiting gestures end with it."""
        self.board.cancel()
        self.memory.factory_reset()
        self.lock.close()
        self.heard.clear()
        self.batteries.clear()
        self.tell(BoardEvent.RESET, origin, at)

    def tell(
        self,
        kind: BoardEvent,
        origin: Origin,
        at: float,
        *,
        serial: int = 0,
        slot: int = 0,
        position: int = 0,
        number: int = 0,
        value: int = 0,
        enrolling: bool = False,
    ) -> None:
        """Add an event to the ring."""
        place = RingPlace(self.memory.boot_count, self.ring.newest + 1)
        uptime_s = at - self.started_at
        self.ring.add(RingEntry(place, uptime_s, kind, origin, serial, slot, position, number, value, enrolling))

    def _note(self, slot: int, battery: str, at: float) -> None:
        if slot:
            self.heard[slot] = max(1, int((at - self.started_at) * 10 + 1e-6))
            if battery:
                self.batteries[slot] = battery

    def _forget_volatile(self, slot: int) -> None:
        self.heard.pop(slot, None)
        self.batteries.pop(slot, None)

    def _output_moved(self, output: int, closed: bool, cause: Cause, at: float) -> None:
        self.tell(
            BoardEvent.OUTPUT,
            cause.origin,
            at,
            serial=cause.serial,
            slot=cause.slot,
            position=cause.position,
            number=output,
            value=int(closed),
        )

    def _board_changed(self, change: BoardChange, at: float) -> None:
        if not change.slot:
            self.tell(BoardEvent.SETTING, Origin.BOARD, at, number=change.output, value=change.on_time_s)
            return
        if change.slot not in self.memory.slots:
            self._forget_volatile(change.slot)
        self.tell(
            BoardEvent.SLOT,
            Origin.BOARD,
            at,
            serial=change.serial,
            slot=change.slot,
            position=change.position,
            number=change.output,
            value=1,
        )

    def _board_refused(self, reason: str, at: float) -> None:
        self.refuse(reason, Origin.BOARD, at)
