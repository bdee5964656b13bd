"""A process of virtual receivers: builds the parts, runs until it is told to stop, cleans up.

One pseudo-terminal carries one or several addresses. What the parts do is theirs; this file only wires them.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import AsyncIterator, Callable, Iterator

from gateway.clock import Clock, SystemClock
from gateway.errors import StoreUnavailable
from gateway.maps import ReceiverMap, Role, load_map
from gateway.virtual.agenda import Agenda
from gateway.virtual.commands import Commands, Member
from gateway.virtual.control import command_socket, stdin_commands
from gateway.virtual.faults import WireFaults
from gateway.virtual.keeping import FileKeeper
from gateway.virtual.options import VirtualOptions
from gateway.virtual.plain import PlainUnit
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.rehearsal import start_from
from gateway.virtual.requests import ReceiverUnit
from gateway.virtual.scenario import Scenario, load_scenario, play
from gateway.virtual.station import Pace, Station
from gateway.virtual.wire import PtyWire

__all__ = ["VirtualOptions", "run_virtual"]


async def run_virtual(
    options: VirtualOptions,
    *,
    clock: Clock | None = None,
    say: Callable[[str], None] = print,
    ready: Callable[[Commands], None] | None = None,
) -> None:
    """Play the receivers until `quit`, a signal (if `stop_on_signals`) or cancellation.

    `say` takes the answers to commands on standard input and the scenario's complaints. `ready` is called once
    the link is there, with the door for commands. Raises SettingsFault or MapFault before anything runs when
    the options can't work, StoreUnavailable when the memory's disk fails later.
    """
    clock = clock or SystemClock()
    scenario = load_scenario(options.scenario) if options.scenario else None
    the_map = load_map(options.map_name)
    stopped: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    def stop() -> None:
        if not stopped.done():
            stopped.set_result(None)

    def break_off(fault: BaseException) -> None:
        if not stopped.done():
            stopped.set_exception(fault)

    async with contextlib.AsyncExitStack() as stack:
        stack.enter_context(_signals(options.stop_on_signals, stop))
        members = [_member(options, the_map, place, stack) for place in range(len(options.addresses))]
        line = await stack.enter_async_context(_line(options, members, clock, break_off))
        for member in members:
            if isinstance(member.unit, ReceiverUnit):
                member.unit.receiver.power_on(clock.monotonic())
        commands = Commands(clock, members, station=line.station, adapter=line, quit_=stop)

        def run(command: str) -> str:
            try:
                return commands.run(command)
            except OSError as fault:
                break_off(fault)
                return "error: the memory's disk failed"

        await stack.enter_async_context(command_socket(options.control, run))
        stack.enter_context(stdin_commands(options.use_stdin, run, say))
        if ready is not None:
            ready(commands)
        async with asyncio.TaskGroup() as tasks:
            playing = tasks.create_task(_play(scenario, clock, run, say, broken=break_off))
            await asyncio.wait([stopped])
            playing.cancel()
        try:
            stopped.result()
        except OSError as fault:
            raise StoreUnavailable(
                f"The memory {options.memory} can't be written: {fault.strerror}.",
                remedy="Make room on its disk and start the virtual receiver again.",
            ) from fault


async def _play(
    scenario: Scenario | None,
    clock: Clock,
    run: Callable[[str], str],
    say: Callable[[str], None],
    *,
    broken: Callable[[BaseException], None],
) -> None:
    try:
        if scenario is not None:
            await play(scenario, clock, run, say)
    except Exception as fault:
        broken(fault)


class _Line:
    """The wire and the station on it, with the adapter as commands handle it."""

    def __init__(
        self, options: VirtualOptions, members: list[Member], clock: Clock, broken: Callable[[BaseException], None]
    ) -> None:
        pace = Pace.of(options.baud, options.turnaround_s) if options.paced else None
        units = {member.address: member.unit for member in members}
        self._clock = clock
        self._agenda = Agenda(clock, broken)
        self.station = Station(clock, units, self._emit, pace=pace, faults=WireFaults(options.seed), broken=broken)
        speed = options.baud if options.paced else None
        self.wire = PtyWire(options.link, self.station.received, speed=speed, broken=broken)

    def pull(self, for_s: float | None) -> None:
        self.wire.close()
        self.station.reset()
        self._agenda.clear()
        if for_s is not None:
            self._agenda.at(self._clock.monotonic() + for_s, self.put_back)

    def put_back(self) -> None:
        self._agenda.clear()
        self.wire.open()

    def close(self) -> None:
        """Take all of it down; may be called twice."""
        self.wire.close()
        self.station.close()
        self._agenda.close()

    def _emit(self, data: bytes) -> None:
        self.wire.send(data)


@contextlib.asynccontextmanager
async def _line(
    options: VirtualOptions, members: list[Member], clock: Clock, broken: Callable[[BaseException], None]
) -> AsyncIterator[_Line]:
    line = _Line(options, members, clock, broken)
    try:
        line.wire.open()
        yield line
    finally:
        line.close()


def _member(options: VirtualOptions, the_map: ReceiverMap, place: int, stack: contextlib.AsyncExitStack) -> Member:
    address, name = options.addresses[place], options.name_of(place)
    if not the_map.has(Role.SLOTS):
        return Member(address, name, PlainUnit(the_map))
    path = options.memory_of(place)
    limits = options.snapshot.limits if options.snapshot is not None else None
    receiver = VirtualReceiver(
        the_map,
        serial=options.serial_of(place),
        outputs=limits.outputs if limits else options.outputs,
        inputs=limits.inputs if limits else options.inputs,
        slots=options.slots,
        limits=limits,
        keeper=FileKeeper(path) if path else None,
    )
    stack.callback(receiver.memory.close)
    if options.snapshot is not None:
        start_from(receiver, options.snapshot)
    for output, mode in enumerate(options.modes[: receiver.limits.outputs], 1):
        receiver.memory.set_mode(output, mode)
    return Member(address, name, ReceiverUnit(receiver))


@contextlib.contextmanager
def _signals(wanted: bool, stop: Callable[[], None]) -> Iterator[None]:
    loop = asyncio.get_running_loop()
    numbers = (signal.SIGTERM, signal.SIGINT) if wanted else ()
    for number in numbers:
        loop.add_signal_handler(number, stop)
    try:
        yield
    finally:
        for number in numbers:
            loop.remove_signal_handler(number)
