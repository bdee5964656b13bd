"""On-times and the lock of the board's own buttons: written one register at a time and read back."""

from __future__ import annotations

from gateway.domain.receiver import Limits, ReceiverSettings
from gateway.domain.urgency import Urgency
from gateway.errors import NotProven, Refused, Unsupported
from gateway.maps import Block, Field, Value
from gateway.receivers.session import Session
from gateway.receivers.values import flag_of, numbers_of

__all__ = ["Configuration"]


class Configuration:
    """The settings block of a map."""

    def __init__(self, block: Block, session: Session) -> None:
        self._block = block
        self._session = session

    async def read(self, limits: Limits, urgency: Urgency) -> ReceiverSettings:
        """The settings, and from the status whether there is a link password."""
        values = await self._session.read(self._block, urgency)
        status = await self._session.asking.read_status(urgency)
        local = flag_of(values, "local_programming")
        if local is None:
            local = flag_of(status, "local_programming")
        return ReceiverSettings(
            on_times_s=numbers_of(values, "on_times_s")[: limits.outputs],
            local_programming=local is None or local,
            password_set=bool(flag_of(status, "password_set")),
        )

    async def write_on_time(self, output: int, seconds: int, limits: Limits) -> None:
        """Raises Refused outside the receiver's limits, before anything is written."""
        field = self._field("on_times_s")
        if not 1 <= output <= min(limits.outputs, field.count):
            raise Refused(
                f"There is no output {output}.",
                remedy=f"This receiver's outputs are 1 to {limits.outputs}.",
                code="output-out-of-range",
            )
        if not limits.on_time_min_s <= seconds <= limits.on_time_max_s:
            raise Refused(
                f"An on-time of {seconds} s is not possible.",
                remedy=f"This receiver takes {limits.on_time_min_s} to {limits.on_time_max_s} s.",
                code="on-time-out-of-range",
            )
        times = (0,) * (output - 1) + (seconds,)
        size = field.size_bits // field.count // 16
        await self._write(self._block.encode({field.name: times}), field.at + size * (output - 1), size)
        found = numbers_of(await self._session.read(self._block, Urgency.CONTROL), field.name)
        self._check(found[output - 1], seconds, f"the on-time of output {output}")

    async def write_local_programming(self, allowed: bool) -> None:
        """The register is read first, so that what else stands in it stays."""
        field = self._field("local_programming")
        standing: dict[str, Value] = await self._session.read(self._block, Urgency.CONTROL)
        neighbours = {name: value for name, value in standing.items() if self._shares(field, name)}
        data = self._block.encode({**neighbours, field.name: allowed})
        await self._write(data, field.at, 1)
        found = await self._session.read(self._block, Urgency.CONTROL)
        self._check(flag_of(found, field.name), allowed, "the lock of local programming")

    def _shares(self, field: Field, name: str) -> bool:
        other = self._block.fields[name]
        return other.start_bit // 16 <= field.start_bit // 16 <= (other.start_bit + other.size_bits - 1) // 16

    async def _write(self, data: bytes, offset: int, registers: int) -> None:
        part = data[2 * offset : 2 * (offset + registers)]
        await self._session.write(self._block, part, Urgency.CONTROL, offset=offset)

    def _field(self, name: str) -> Field:
        field = self._block.fields.get(name)
        if field is None or not self._block.writable:
            raise Unsupported(
                f"{self._session.asking.name} can't have its {name.replace('_', ' ')} set over the line.",
                remedy="Set it at the board.",
            )
        return field

    def _check(self, found: object, wanted: object, what: str) -> None:
        if found != wanted:
            raise NotProven(
                f"{self._session.asking.name} acknowledged {what}, and reading it back shows something else.",
                remedy="Try again; if this repeats, have the receiver's memory checked.",
            )
