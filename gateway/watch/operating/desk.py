"""The desk at which outputs are operated (`ports.OperationDesk`): asked, judged in the hold of the line, sent once.

First everything that can be refused without the line; then the order is durable; then the driver takes the line, reads
status and identity, and asks `_Turn.judge` for the last word, with nothing in between that could change. With a
warning output the same is done twice, with the warning's time between; that is the one sequence there is. Whatever the
end of the program cuts is told at the next start and never gone on with.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from gateway.clock import Clock
from gateway.domain.live import LinkState
from gateway.domain.operation import Operable, Operation, OperationState, Warning
from gateway.domain.receiver import Capability, Identity, OutputMode, ReceiverSettings, Status
from gateway.domain.urgency import Urgency
from gateway.errors import (
    GatepostError,
    LineError,
    NoAnswer,
    NotFound,
    Refused,
    Unsupported,
    WrongAnswer,
)
from gateway.ports import (
    Audit,
    Documents,
    Journal,
    LiveView,
    Mirrors,
    OperatingReceiver,
    OperationDesk,
    OperationOrder,
    Receiver,
)
from gateway.watch.operating import judging
from gateway.watch.operating.judging import Heard
from gateway.watch.operating.log import OperationLog
from gateway.watch.operating.record import UNKNOWN, Record

__all__ = ["OperatingDesk"]

_POLLS = 2
_OLDEST_SAFETY_S = 1.0


@dataclass(frozen=True, slots=True)
class _Read:
    """What was read before the hold: own status and settings, and the others with safety inputs of this gate."""

    status: Status
    settings: ReceiverSettings | None
    others: Mapping[str, Heard]


@dataclass(slots=True)
class _Turn:
    """One closure on its way: what it was judged by, and whether it was let go."""

    read: _Read
    let_go: bool = False
    seconds: float = 0.0
    judges: list[Callable[[Status, Identity | None], None]] = field(default_factory=list)

    def judge(self, status: Status, identity: Identity | None) -> None:
        for each in self.judges:
            each(status, identity)
        self.let_go = True


class OperatingDesk(OperationDesk):
    """`ports.OperationDesk`. What a warning goes before needs `run` to be running.

    `operables` are called as the settings call them, `names` has what outputs of each receiver are called at the moment
    of asking. `receivers` are all of them; `poll_rates_hz` how often each is polled; `planning` says whether a plan is
    being made or written at a receiver.
    """

    def __init__(
        self,
        operables: Sequence[Operable],
        *,
        receivers: Mapping[str, Receiver],
        poll_rates_hz: Mapping[str, float],
        live: LiveView,
        mirrors: Mirrors,
        journal: Journal,
        documents: Documents,
        audit: Audit,
        clock: Clock,
        boot_id: str,
        planning: Callable[[str], bool],
        names: Mapping[str, Mapping[int, str]] | None = None,
        nonce: Callable[[], int] = lambda: secrets.randbits(32),
    ) -> None:
        self._operables = {(each.receiver, each.output): each for each in operables}
        self._receivers = receivers
        self._live = live
        self._mirrors = mirrors
        self._clock = clock
        self._planning = planning
        self._names = names or {}
        self._nonce = nonce
        self._oldest_s = {name: min(_POLLS / rate, _OLDEST_SAFETY_S) for name, rate in poll_rates_hz.items()}
        self._log = OperationLog(journal=journal, documents=documents, clock=clock, boot_id=boot_id)
        self._record = Record(self._log, audit=audit, clock=clock)
        self._jobs: asyncio.Queue[Callable[[], Awaitable[None]]] = asyncio.Queue()

    # --- ports.OperationDesk ---

    def outputs(self, receiver: str) -> tuple[Operable, ...]:
        self._live.receiver(receiver)
        own = {each.output: self._called(each) for each in self._operables.values() if each.receiver == receiver}
        others = {number: Operable(receiver, number, name) for number, name in self._names.get(receiver, {}).items()}
        return tuple(found for _, found in sorted((others | own).items()))

    def recent(self, receiver: str, output: int) -> tuple[Operation, ...]:
        return self._log.of(receiver, output)

    def operation(self, operation_id: str) -> Operation:
        return self._log.find(operation_id)

    async def operate(self, order: OperationOrder) -> Operation:
        operable = self._find(order)
        await self._record.audit(order, operable, "asked")
        try:
            self._driver(order.receiver)
            self._admit(order, operable)
            operation = await self._log.begin(self._operation(order, operable), order.key)
        except GatepostError as fault:
            await self._record.audit(order, operable, fault.code, must=False)
            raise
        if operable.warning is None:
            return await self._close(order, operable, operation)
        operation = await self._guarded(
            order, operable, operation, lambda: self._warn(order, operable, operable.warning, operation)
        )
        self._jobs.put_nowait(lambda: self._after_warning(order, operable, operation))
        return operation

    # --- the task ---

    async def run(self) -> None:
        """What comes after a warning; runs until it is cancelled, and what it has not sent by then is never sent."""
        await self._tell_cut()
        async with asyncio.TaskGroup() as group:
            while True:
                job = await self._jobs.get()
                group.create_task(_run_job(job), name="operation")

    async def _tell_cut(self) -> None:
        """After a start: what was under way is not gone on with. What may have moved is told as that."""
        for each in self._log.cut():
            if each.state is OperationState.WARNING:
                ended = replace(
                    each,
                    state=OperationState.INTERRUPTED,
                    sentence="The gateway stopped during the warning; nothing was operated.",
                    remedy="Ask again if it is still wanted.",
                    ended=self._clock.now(),
                )
                await self._record.settle(ended)
            else:
                await self._record.settle(self._record.unknown(each, "The gateway stopped while it was being sent."))

    async def _after_warning(self, order: OperationOrder, operable: Operable, operation: Operation) -> None:
        assert operable.warning is not None
        await self._clock.sleep(operable.warning.seconds)
        again = replace(order, asked_s=self._clock.monotonic())
        await self._close(again, operable, operation)

    # --- one closure ---

    async def _warn(
        self, order: OperationOrder, operable: Operable, warning: Warning | None, operation: Operation
    ) -> Operation:
        """Everything is judged as for the gate itself, so that nothing sounds for a gate that would not move."""
        assert warning is not None
        horn = replace(operable, output=warning.output, name=warning.name, warning=None)
        turn = await self._prepare(order, operable, operation)

        def judge_horn(status: Status, _: Identity | None) -> None:
            judging.check_at_rest(horn, status)
            turn.seconds = judging.closure_s(horn, status, turn.read.settings, warning.seconds)

        turn.judges.append(judge_horn)
        driver = self._driver(order.receiver)
        await driver.operate(warning.output, _tenths(warning.seconds), self._nonce(), turn.judge)
        judging.check_warning(operable, await driver.read_status(urgency=Urgency.CONTROL))
        warned = replace(operation, state=OperationState.WARNING, sentence=f"{warning.name} warns; then it moves.")
        return await self._log.touch(warned)

    async def _close(self, order: OperationOrder, operable: Operable, operation: Operation) -> Operation:
        return await self._guarded(
            order, operable, operation, lambda: self._send(order, operable, operation), last=True
        )

    async def _send(self, order: OperationOrder, operable: Operable, operation: Operation) -> Operation:
        self._admit(order, operable, besides=operation.id)
        sending = await self._log.touch(replace(operation, state=OperationState.SENDING))
        turn = await self._prepare(order, operable, operation)
        driver = self._driver(order.receiver)
        tenths = 0 if order.seconds is None and _is_timed(operable, turn.read.status) else _tenths(order.seconds)
        try:
            await driver.operate(operable.output, tenths, self._nonce(), turn.judge)
        except (LineError, WrongAnswer) as fault:
            if not turn.let_go or not getattr(fault, "sent", True):
                raise _not_sent(order.receiver, fault) from fault
            unknown = self._record.unknown(replace(sending, seconds=turn.seconds or None), fault.message)
            await self._record.settle(unknown)
            raise NoAnswer(unknown.sentence, remedy=unknown.remedy, code="operation-unknown") from fault
        done = replace(
            sending,
            state=OperationState.DONE,
            seconds=turn.seconds or None,
            sentence=f"The contact of {operable.name} was closed once; the receiver ends it by itself.",
            remedy="Look whether the gate moves as it should.",
            ended=self._clock.now(),
        )
        await self._record.settle(done)
        return done

    async def _prepare(self, order: OperationOrder, operable: Operable, operation: Operation) -> _Turn:
        """Read what is not in the status, then gather who has a say when the turn comes."""
        turn = _Turn(await self._read(operable))

        def judge(status: Status, identity: Identity | None) -> None:
            now_s = self._clock.monotonic()
            self._admit(order, operable, besides=operation.id)
            live, mirror = self._live.receiver(order.receiver), self._mirrors.load(order.receiver)
            known = mirror.identity if mirror else live.identity
            judging.check_same(known, identity, live.status, turn.read.status, status)
            if status.busy:
                raise Refused("The receiver is busy with its memory.", remedy="Ask again in a moment.", code="busy")
            turn.seconds = judging.closure_s(operable, status, turn.read.settings, order.seconds)
            judging.check_at_rest(operable, status)
            judging.check_safety(operable, status, turn.read.others, now_s=now_s, oldest_s=self._oldest_s)

        turn.judges.append(judge)
        return turn

    async def _read(self, operable: Operable) -> _Read:
        try:
            return await self._ask(operable)
        except LineError as fault:
            raise _not_sent(operable.receiver, fault) from fault

    async def _ask(self, operable: Operable) -> _Read:
        driver, own = self._driver(operable.receiver), self._receivers[operable.receiver]
        status = await driver.read_status(urgency=Urgency.CONTROL)
        settings = None
        if Capability.SETTINGS in own.capabilities:
            settings = await driver.read_settings(urgency=Urgency.CONTROL)
        others: dict[str, Heard] = {}
        for name in {contact.receiver for contact in operable.safety} - {operable.receiver}:
            if self._live.receiver(name).link is LinkState.ONLINE:
                heard = await self._receivers[name].read_status(urgency=Urgency.CONTROL)
                others[name] = Heard(heard, self._clock.monotonic())
        return _Read(status, settings, others)

    def _admit(self, order: OperationOrder, operable: Operable, *, besides: str = "") -> None:
        """All that is refused without asking the receiver; once more whenever its turn comes."""
        judging.check_named(operable)
        judging.check_reason(order.reason)
        if not order.still_may():
            raise Refused(
                "Whoever asked for it may not operate outputs any more.",
                remedy="Ask with a token that has the scope operate.",
                code="operator-gone",
            )
        if not besides:
            self._log.check_key(order.asked_by, order.key)
        live, mirror = self._live.receiver(order.receiver), self._mirrors.load(order.receiver)
        judging.check_reachable(live, mirror, planning=self._planning(order.receiver))
        self._log.check_pauses(order.receiver, order.output, order.asked_by, besides=besides)
        judging.check_age(order.asked_s, self._clock.monotonic())

    # --- how it ended ---

    async def _guarded(
        self,
        order: OperationOrder,
        operable: Operable,
        operation: Operation,
        work: Callable[[], Awaitable[Operation]],
        *,
        last: bool = False,
    ) -> Operation:
        """Do it, and keep and audit how it ended. What was refused is told to whoever asked."""
        try:
            found = await work()
        except GatepostError as fault:
            if fault.code != UNKNOWN:
                await self._record.settle(self._record.refused(operation, fault))
            await self._record.audit(order, operable, fault.code, must=False)
            raise
        if last:
            await self._record.audit(order, operable, "done", must=False)
        return found

    # --- finding ---

    def _find(self, order: OperationOrder) -> Operable:
        live = self._live.receiver(order.receiver)
        found = self._operables.get((order.receiver, order.output))
        if found is not None:
            return self._called(found)
        if live.limits is not None and not 1 <= order.output <= live.limits.outputs:
            raise NotFound(
                f"{order.receiver} has no output {order.output}.",
                remedy=f"Its outputs are numbered from 1 to {live.limits.outputs}.",
            )
        return Operable(order.receiver, order.output, self._name(order.receiver, order.output))

    def _called(self, operable: Operable) -> Operable:
        """By the names in force; what the settings allow stays bound to the output, and a stop of theirs stays one."""
        if operable.is_stop:
            return operable
        name = self._name(operable.receiver, operable.output) or operable.name
        warning = operable.warning
        if warning is not None:
            warning = replace(warning, name=self._name(operable.receiver, warning.output) or warning.name)
        return replace(operable, name=name, warning=warning)

    def _name(self, receiver: str, output: int) -> str:
        return self._names.get(receiver, {}).get(output, "")

    def _driver(self, receiver: str) -> OperatingReceiver:
        driver = self._receivers.get(receiver)
        if driver is None or Capability.OPERATE not in driver.capabilities or not isinstance(driver, OperatingReceiver):
            raise Unsupported(
                f"{receiver} has no closure that it ends by itself, so it is not operated from afar.",
                remedy="Its map does not offer that; operate it on site.",
            )
        return driver

    def _operation(self, order: OperationOrder, operable: Operable) -> Operation:
        return Operation(
            id=f"o-{secrets.token_hex(6)}",
            receiver=order.receiver,
            output=order.output,
            name=operable.name,
            reason=order.reason,
            asked_by=order.asked_by,
            asked=self._clock.now(),
            state=OperationState.SENDING,
            seconds=order.seconds,
        )


async def _run_job(job: Callable[[], Awaitable[None]]) -> None:
    """How it ended is in the operation itself and in the audit."""
    try:
        await job()
    except GatepostError:
        return


def _is_timed(operable: Operable, status: Status) -> bool:
    return (status.output_modes or ())[operable.output - 1 : operable.output] == (OutputMode.TIMED,)


def _tenths(seconds: float | None) -> int:
    return max(1, round((judging.MOMENTARY_S if seconds is None else seconds) * 10))


def _not_sent(receiver: str, fault: LineError | WrongAnswer) -> Refused:
    """Something went wrong on the line before the one frame that moves a gate: whoever asked must know that."""
    return Refused(
        f"{receiver} could not be asked how it stands, so nothing was sent: {fault.message}",
        remedy=fault.remedy,
        code="receiver-not-reached",
    )
