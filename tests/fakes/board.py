"""The memory and the hands-on side of a receiver, for tests: what happens at the board and what it remembers.

`FakeBoard` is what `FakeReceiver` (tests/fakes/receiver.py) drives. Tests act on it as people at the site do:
press a transmitter, violate an input, learn, unlearn, reset, cut the power. It keeps the rules of the reference
receiver: the revision rises at every change and is never reset, the ring's numbers start again at 1 with each
start, learning adds one pair of position and output to the existing slot or the lowest free one.
It knows nothing of frames or faults.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace

from gateway.clock import Clock
from gateway.domain.receiver import (
    BoardEvent,
    EnrolmentState,
    Identity,
    Limits,
    Origin,
    OutputMode,
    RingEntry,
    RingPlace,
    Slot,
    Status,
)

__all__ = ["MODE_CODES", "FakeBoard"]

FACTORY_ON_TIME_S = 5
MODE_CODES = {OutputMode.LATCHING: 0, OutputMode.TIMED: 1, OutputMode.MOMENTARY: 2}


@dataclass(slots=True)
class _Opening:
    """A timed output that opens again by itself."""

    at: float
    output: int


class FakeBoard:
    """One receiver's state. `clock` None stands for a board whose time never moves."""

    def __init__(self, identity: Identity, limits: Limits, clock: Clock | None = None) -> None:
        self._clock = clock
        self.limits = limits
        self._as_new(identity)

    def _as_new(self, identity: Identity) -> None:
        limits = self.limits
        self.identity = identity
        self.revision = 1
        self.boot_count = 1
        self.slots: dict[int, Slot] = {}
        self.changed_at: dict[int, int] = {}
        self.on_times_s = [FACTORY_ON_TIME_S] * limits.outputs
        self.local_programming = True
        self.password = ""
        self.modes = [OutputMode.TIMED] * limits.outputs
        self.inputs = [False] * limits.inputs
        self.outputs = [False] * limits.outputs
        self.last_refusal: str | None = None
        self._start()

    # --- what people do at the site ---

    def press(self, serial: int, position: int = 1) -> RingEntry:
        """A transmitter is pressed; a known one works its outputs by their modes."""
        slot = next((slot for slot in self.slots.values() if slot.serial == serial), None)
        entry = self._tell(
            BoardEvent.PRESS,
            Origin.RADIO,
            serial=serial,
            position=position,
            slot=slot.number if slot else 0,
            enrolling=self.listening,
        )
        if slot is not None and position <= len(slot.outputs):
            for output in sorted(slot.outputs[position - 1]):
                self._work(output)
        return entry

    def set_input(self, number: int, violated: bool) -> None:
        """A contact opens or closes; nothing happens when it already stands so."""
        if self.inputs[number - 1] != violated:
            self.inputs[number - 1] = violated
            self._tell(BoardEvent.INPUT, Origin.BOARD, number=number, value=int(violated))

    def close_output(self, number: int, closed: bool = True, origin: Origin = Origin.BOARD) -> None:
        """A relay moves; nothing happens when it already stands so."""
        if self.outputs[number - 1] != closed:
            self.outputs[number - 1] = closed
            self._tell(BoardEvent.OUTPUT, origin, number=number, value=int(closed))

    def set_mode(self, number: int, mode: OutputMode) -> None:
        """A mode selector is moved."""
        if self.modes[number - 1] is not mode:
            self.modes[number - 1] = mode
            self._tell(BoardEvent.MODE, Origin.BOARD, number=number, value=MODE_CODES[mode])

    def learn(self, serial: int, position: int, output: int) -> Slot | None:
        """Add one pair at the board; None when the lock or a full memory refuses."""
        old = next((slot for slot in self.slots.values() if slot.serial == serial), None)
        number = old.number if old else self.lowest_free()
        if not self.local_programming or number is None:
            self.refuse("locked" if not self.local_programming else "full")
            return None
        groups = list(old.outputs) if old else [frozenset[int]()] * self.limits.positions
        groups[position - 1] |= {output}
        slot = replace(old, outputs=tuple(groups)) if old else Slot(number, serial, 0, tuple(groups))
        self.put(number, slot, Origin.BOARD)
        return slot

    def unlearn(self, serial: int, position: int, output: int) -> None:
        """Take one pair away at the board; the last pair frees the slot."""
        old = next((slot for slot in self.slots.values() if slot.serial == serial), None)
        if old is None or not self.local_programming:
            self.refuse("unknown" if old is None else "locked")
            return
        groups = list(old.outputs)
        groups[position - 1] -= {output}
        self.put(old.number, replace(old, outputs=tuple(groups)) if any(groups) else None, Origin.BOARD)

    def change_on_time(self, output: int, seconds: int, origin: Origin = Origin.BOARD) -> None:
        """Teach an on-time."""
        if self.on_times_s[output - 1] != seconds:
            self.on_times_s[output - 1] = seconds
            self.revision += 1
            self._tell(BoardEvent.SETTING, origin, number=output, value=seconds)

    def allow_local_programming(self, allowed: bool, origin: Origin = Origin.LINE) -> None:
        """Set the lock of the board's own buttons."""
        if self.local_programming != allowed:
            self.local_programming = allowed
            self.revision += 1
            self._tell(BoardEvent.LOCK, origin, value=int(allowed))

    def reset(self, origin: Origin = Origin.BOARD) -> None:
        """Factory state: no slots, no password, lock off, on-times as from the factory. The revision rises."""
        self.revision += 1
        for number in self.slots:
            self.changed_at[number] = self.revision
        self.slots.clear()
        self.password = ""
        self.local_programming = True
        self.on_times_s = [FACTORY_ON_TIME_S] * self.limits.outputs
        self._tell(BoardEvent.RESET, origin)

    def restart(self) -> None:
        """The power goes and comes: a new boot count, an empty ring, all outputs open."""
        self.boot_count += 1
        self.outputs = [False] * self.limits.outputs
        self._start()

    def replace_with(self, serial: str) -> None:
        """Somebody puts another receiver of the same product in this one's place, as from the factory."""
        self._as_new(replace(self.identity, serial=serial))

    # --- what the wire does ---

    def put(self, number: int, slot: Slot | None, origin: Origin) -> None:
        """Write or free one slot; nothing changes when it already stands so."""
        self.put_all({number: slot}, origin)

    def put_all(self, target: Mapping[int, Slot | None], origin: Origin) -> None:
        """One request: the revision rises by one, and one event names the lowest slot and how many changed."""
        changing = {n: slot for n, slot in sorted(target.items()) if self.slots.get(n) != slot}
        if not changing:
            return
        self.revision += 1
        lowest = min(changing)
        told = changing[lowest] or self.slots[lowest]
        for number, slot in changing.items():
            self.changed_at[number] = self.revision
            if slot is None:
                del self.slots[number]
            else:
                self.slots[number] = slot
        self._tell(BoardEvent.SLOT, origin, slot=lowest, serial=told.serial, value=len(changing))

    def refuse(self, why: str) -> None:
        """Remember and tell a refusal."""
        self.last_refusal = why
        self._tell(BoardEvent.REFUSAL, Origin.BOARD)

    def set_password(self, new: str) -> None:
        if self.password != new:
            self.password = new
            self.revision += 1
            self._tell(BoardEvent.SETTING, Origin.LINE)

    def listen(self, seconds: int) -> None:
        self._listening_until = self._now() + seconds

    @property
    def listening(self) -> bool:
        return self._now() < self._listening_until

    @property
    def uptime_s(self) -> float:
        return self._now() - self._started

    def lowest_free(self) -> int | None:
        return next((n for n in range(1, self.limits.slots + 1) if n not in self.slots), None)

    def status(self) -> Status:
        """The status block as it stands now."""
        self.tick()
        return Status(
            input_violated=tuple(self.inputs),
            output_closed=tuple(self.outputs),
            output_modes=tuple(self.modes),
            map_version=self.identity.map_version,
            boot_count=self.boot_count,
            uptime_s=int(self.uptime_s),
            revision=self.revision,
            newest_event=self.newest,
            oldest_event=self.ring[0].place.number if self.ring else 0,
            local_programming=self.local_programming,
            password_set=bool(self.password),
            unlocked_s=0,
            enrolment=EnrolmentState.LISTENING if self.listening else EnrolmentState.IDLE,
            enrolment_left_s=max(0, int(self._listening_until - self._now())),
            last_refusal=self.last_refusal,
        )

    def tick(self) -> None:
        """Open the timed outputs whose on-time is over, each at its own moment."""
        due = sorted((o for o in self._openings if o.at <= self._now()), key=lambda o: o.at)
        for opening in due:
            self._openings.remove(opening)
            self.outputs[opening.output - 1] = False
            self._tell(
                BoardEvent.OUTPUT,
                Origin.BOARD,
                number=opening.output,
                value=0,
                uptime_s=opening.at - self._started,
            )

    def _start(self) -> None:
        self._started = self._now()
        self._listening_until = self._started
        self._openings: list[_Opening] = []
        self.newest = 0
        self.ring: deque[RingEntry] = deque(maxlen=self.limits.ring or None)
        self._tell(BoardEvent.START, Origin.BOARD)

    def _work(self, output: int) -> None:
        mode = self.modes[output - 1]
        self._openings = [opening for opening in self._openings if opening.output != output]
        if mode is OutputMode.LATCHING:
            self.close_output(output, not self.outputs[output - 1], Origin.RADIO)
            return
        self.close_output(output, True, Origin.RADIO)
        if mode is OutputMode.MOMENTARY:
            self.close_output(output, False, Origin.RADIO)
        else:
            self._openings.append(_Opening(self._now() + self.on_times_s[output - 1], output))

    def _now(self) -> float:
        return self._clock.monotonic() if self._clock else 0.0

    def _tell(
        self,
        kind: BoardEvent,
        origin: Origin,
        *,
        serial: int = 0,
        slot: int = 0,
        position: int = 0,
        number: int = 0,
        value: int = 0,
        enrolling: bool = False,
        uptime_s: float | None = None,
    ) -> RingEntry:
        if uptime_s is None:
            self.tick()
            uptime_s = self.uptime_s
        self.newest += 1
        place = RingPlace(self.boot_count, self.newest)
        entry = RingEntry(place, uptime_s, kind, origin, serial, slot, position, number, value, enrolling)
        self.ring.append(entry)
        return entry
