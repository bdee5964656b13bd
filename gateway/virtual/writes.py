"""What a write request does, by the role of the block that it falls in.

Each rule checks the whole request first and changes nothing when it refuses. Knows nothing of frames; the
bytes are register data as on the wire. Rules: docs/register-map.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from gateway.domain.receiver import BoardEvent, Origin, OutputMode
from gateway.maps import Block, Role
from gateway.modbus import ExceptionCode
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.refusals import Refusal, out_of_range
from gateway.virtual.running import Running
from gateway.virtual.slot_form import Record

__all__ = ["MEMORY_ROLES", "PowerCut", "Write", "write_block"]

MOST_LISTENING_S = 60
#: Writes that end in the memory, and so take the memory's time.
MEMORY_ROLES = frozenset({Role.SETTINGS, Role.PASSWORD, Role.SLOT_WRITE, Role.RESET})


class PowerCut(Exception):
    """The power went in the middle of the write, as was ordered."""


@dataclass(frozen=True, slots=True)
class Write:
    """One write request: register data, from register `at` of the block. `cut_after` orders a power cut."""

    block: Block
    at: int
    data: bytes
    now: float
    cut_after: int | None = None

    def whole(self) -> bytes:
        """The data of a request that must cover its block exactly. Raises Refusal otherwise."""
        if self.at or len(self.data) != self.block.record_bytes:
            raise out_of_range()
        return self.data


def write_block(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    """Do it. Raises Refusal, or PowerCut when one was ordered."""
    _WRITERS[write.block.role](receiver, running, write)


def _settings(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    memory, limits = receiver.memory, receiver.limits
    standing = bytearray(
        write.block.encode({"on_times_s": tuple(memory.on_times_s), "local_programming": memory.local_programming})
    )
    standing[2 * write.at : 2 * write.at + len(write.data)] = write.data
    wanted = write.block.decode(bytes(standing))
    times, local = wanted["on_times_s"], bool(wanted["local_programming"])
    assert isinstance(times, tuple)
    used = [time for time in times[: limits.outputs] if isinstance(time, int)]
    fits = all(limits.on_time_min_s <= time <= limits.on_time_max_s for time in used)
    if not fits or write.block.encode({"on_times_s": tuple(used), "local_programming": local}) != standing:
        raise out_of_range()
    old_times, old_local = list(memory.on_times_s), memory.local_programming
    memory.set_settings(used, local)
    for output, (old, new) in enumerate(zip(old_times, used, strict=True), 1):
        if old != new:
            running.tell(BoardEvent.SETTING, Origin.LINE, write.now, number=output, value=new)
    if old_local != local:
        running.tell(BoardEvent.LOCK, Origin.LINE, write.now, value=int(local))


def _password_in(write: Write) -> bytes:
    text = write.whole().rstrip(b"\0")
    if any(not 0x20 < octet < 0x7F for octet in text):
        raise out_of_range()
    return text


def _unlock(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    running.lock.unlock(write.whole().rstrip(b"\0"), write.now)


def _password(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    password = _password_in(write)
    if receiver.memory.set_password(password):
        running.tell(BoardEvent.SETTING, Origin.LINE, write.now, value=int(bool(password)))
    running.lock.open(write.now)


def _lock(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    if write.block.decode(write.whole())["lock"] != 1:
        raise out_of_range()
    running.lock.close()


def _listen(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    seconds = write.block.decode(write.whole())["seconds"]
    assert isinstance(seconds, int)
    if seconds > MOST_LISTENING_S:
        raise out_of_range()
    running.listening_until = write.now + seconds


def _operate(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    fields = write.block.decode(write.whole())
    output, duration, nonce = fields["output"], fields["duration"], fields["nonce"]
    assert isinstance(output, int)
    assert isinstance(duration, int)
    assert isinstance(nonce, int)
    memory, limits = receiver.memory, receiver.limits
    if not 1 <= output <= limits.outputs or duration > 10 * limits.on_time_max_s:
        raise out_of_range()
    mode = memory.modes[output - 1]
    if mode is OutputMode.LATCHING:
        raise Refusal("mode-forbids")
    if mode is OutputMode.MOMENTARY and not duration:
        raise out_of_range()
    if nonce not in running.nonces:
        running.nonces.append(nonce)
        running.outputs.close_for(output, duration / 10 if duration else memory.on_times_s[output - 1], write.now)


def _reset(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    if write.block.decode(write.whole())["key"] != write.block.constants["key"]:
        raise Refusal("key-wrong", ExceptionCode.ILLEGAL_DATA_VALUE)
    running.reset(Origin.LINE, write.now)


def _slot_write(receiver: VirtualReceiver, running: Running, write: Write) -> None:
    memory = receiver.memory
    seen, wanted = _slots_in(receiver, write)
    if any(memory.changed_at.get(number, 0) > seen for number, _ in wanted):
        raise Refusal("slot-changed")
    first = {number: record or memory.slots.get(number) for number, record in wanted}
    changed = memory.write_slots(wanted, cut_after=write.cut_after)
    if write.cut_after is not None:
        raise PowerCut
    if changed:
        told = first[changed[0]]
        running.slots_changed(changed, told.serial if told else 0, write.now)


def _slots_in(receiver: VirtualReceiver, write: Write) -> tuple[int, list[tuple[int, Record | None]]]:
    """The revision seen and the slots of a request for the window, checked as a whole."""
    form, limits = receiver.memory.form, receiver.limits
    head, body = write.data[:4], write.data[4:]
    if write.at or not body or len(body) % form.size:
        raise out_of_range()
    seen = write.block.fields["seen"].decode(head)
    assert isinstance(seen, int)
    records = [body[place : place + form.size] for place in range(0, len(body), form.size)]
    numbers = [form.number_of(raw) for raw in records]
    ascending = all(low < high for low, high in pairwise(numbers))
    if seen > receiver.memory.revision or not ascending or numbers[0] < 1 or numbers[-1] > limits.slots:
        raise out_of_range()
    wanted = [(number, form.read(raw)) for number, raw in zip(numbers, records, strict=True)]
    for _, record in wanted:
        if record and any(output > limits.outputs for group in record.outputs for output in group):
            raise out_of_range()
    return seen, wanted


_WRITERS: dict[Role, Callable[[VirtualReceiver, Running, Write], None]] = {
    Role.SETTINGS: _settings,
    Role.UNLOCK: _unlock,
    Role.PASSWORD: _password,
    Role.LOCK: _lock,
    Role.LISTEN: _listen,
    Role.OPERATE: _operate,
    Role.RESET: _reset,
    Role.SLOT_WRITE: _slot_write,
}
