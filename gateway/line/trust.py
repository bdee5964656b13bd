"""Which units are trusted to answer the question that was asked, and how trust comes back.

Modbus RTU answers carry no transaction number. When a request times out and its answer comes later, the
answer fits the next request of the same form, and a master that takes it stays one behind for ever. So a unit
that owes an answer is not trusted: after the quiet (see `exchange`) it is asked something whose answer has
another *form* (function, length, repeated address) than the one it owes. Units answer in order, so that
answer proves that nothing older is still to come.

What to ask: the two probes that the driver has set, else reads that this unit has answered before, else the
owed read itself with another count, else one register by function 3 or 4. A refusal proves as much as data.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from gateway.modbus import (
    BitsRead,
    ReadDeviceIdentification,
    ReadHoldingRegisters,
    ReadInputRegisters,
    RegistersRead,
    Request,
)

__all__ = ["Probe", "Trust"]

_REMEMBERED = 4  # reads of distinct forms kept for each unit
_READS = (BitsRead, RegistersRead)
_LAST_RESORT: tuple[Request, ...] = (ReadHoldingRegisters(0, 1), ReadInputRegisters(0, 1))


@dataclass(frozen=True, slots=True)
class Probe:
    """A read whose answer can't be mistaken for the one that is owed."""

    request: Request
    answer_time_s: float


class Trust:
    """The book of one line."""

    def __init__(self) -> None:
        self._owed: dict[int, Probe] = {}
        self._set: dict[int, tuple[Probe, ...]] = {}
        self._answered: dict[int, dict[bytes, Probe]] = {}

    def set_probe(self, address: int, requests: tuple[Request, Request], answer_time_s: float) -> None:
        """Use these two for `address`; ValueError when their answers have one form."""
        first, second = requests
        if not _distinct(first, second):
            raise ValueError("the two probes must have answers of different function or length")
        self._set[address] = (Probe(first, answer_time_s), Probe(second, answer_time_s))

    def owes(self, address: int, request: Request, answer_time_s: float) -> None:
        """`address` may still answer `request`."""
        self._owed[address] = Probe(request, answer_time_s)

    def settled(self, address: int) -> None:
        """`address` answered a question of another form: it owes nothing."""
        self._owed.pop(address, None)

    def answered(self, address: int, request: Request, answer_time_s: float) -> None:
        """A trusted unit answered `request` with data; a read is remembered as a probe."""
        if not isinstance(request, _READS):
            return
        known = self._answered.setdefault(address, {})
        if len(known) < _REMEMBERED and request.answer_head not in known:
            known[request.answer_head] = Probe(request, answer_time_s)

    def probe(self, address: int) -> Probe | None:
        """What to ask first; None when `address` owes nothing."""
        owed = self._owed.get(address)
        if owed is None:
            return None
        known = (*self._set.get(address, ()), *self._answered.get(address, {}).values(), *_other_count(owed))
        last = tuple(Probe(request, owed.answer_time_s) for request in _LAST_RESORT)
        return next(probe for probe in (*known, *last) if _distinct(probe.request, owed.request))


def _distinct(one: Request, other: Request) -> bool:
    if isinstance(one, ReadDeviceIdentification) or isinstance(other, ReadDeviceIdentification):
        return one.function != other.function
    return one.answer_head != other.answer_head


def _other_count(owed: Probe) -> tuple[Probe, ...]:
    request = owed.request
    if not isinstance(request, _READS):
        return ()
    step = 8 if isinstance(request, BitsRead) else 1
    count = request.count - step if request.count > step else request.count + step
    return (replace(owed, request=replace(request, count=count)),)
