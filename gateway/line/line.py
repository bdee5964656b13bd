"""One serial line: the port kept open, and everybody's requests sent one after another.

`run` is the line's one owner: it opens the port, loses it, opens it again, and serves the queue. All others
only hand in requests and wait. What a request waits for at most is bounded: one exchange, the quiet after a
time-out, and a hold. The rules of late answers are in `trust` and `exchange`, the order in `queue`, the
number of tries in `attempts`.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

from gateway.clock import Clock
from gateway.domain.urgency import Urgency
from gateway.errors import BrokenAnswer, LineError, LinkLost, NoAnswer, PeerError, PortUnavailable, Refused
from gateway.line.attempts import attempt
from gateway.line.config import LineConfig
from gateway.line.exchange import Exchange, Outcome, Result
from gateway.line.held import HeldLine, Hold
from gateway.line.port import open_port
from gateway.line.queue import Job, Queue, Waiting
from gateway.line.silence import Silence
from gateway.line.state import LineCounters, LineState, LineStateKind, Tally
from gateway.line.timing import Timing, registers_per_frame
from gateway.line.trust import Trust
from gateway.line.wire import Wire, WireOpener
from gateway.modbus import Answer, ExceptionAnswer, Request

__all__ = ["Line"]

FIRST_WAIT_S = 0.25  # between attempts to open, doubled up to the longest
LONGEST_WAIT_S = 5.0
POLLED_WITHIN_S = 1.0  # somebody polls this line when something urgent was asked this recently
SILENT_ROW = 3  # time-outs in a row, with no byte between, after which the port is opened anew ...
REOPEN_AFTER_S = 30.0  # ... but not more often than this: a receiver without power is no fault of the adapter
_KINDS: dict[str, LineStateKind] = {
    "port-missing": "missing",
    "port-denied": "denied",
    "port-busy": "busy",
    "port-failed": "failed",
}


class Line:
    """A line and its queue. Build it, run `run` in a task, and hand it requests."""

    def __init__(self, config: LineConfig, clock: Clock, *, opener: WireOpener = open_port) -> None:
        self.config = config
        self._clock = clock
        self._opener = opener
        self._timing = Timing.of(config)
        self._tally = Tally()
        self._queue = Queue()
        self._trust = Trust()
        self._silence = Silence()
        self._exchange = Exchange(clock, self._timing, self._tally, echo=config.echo, on_lost=self._port_lost)
        self._work: asyncio.Future[None] | None = None
        self._held: HeldLine | None = None
        self._fault: LineError | None = _closed(config)
        self._state = LineState("closed", clock.monotonic(), self._fault.message, self._fault.remedy)
        self._changed = asyncio.Event()
        self._urgent_at = float("-inf")
        self._silent_row = 0
        self._opened_at = 0.0
        self._received_before = 0

    # what others see

    @property
    def state(self) -> LineState:
        """Where the line stands now."""
        return self._state

    @property
    def counters(self) -> LineCounters:
        """A snapshot of the counts."""
        return self._tally.snapshot()

    @property
    def timing(self) -> Timing:
        """Character and silence times of the line's format."""
        return self._timing

    async def wait_state_change(self, previous: LineState) -> LineState:
        """Wait until the state is another than `previous`; at once when it is already. Cancellation is safe."""
        while self._state == previous:
            await self._changed.wait()
        return self._state

    async def wait_open(self) -> None:
        """Wait until the port is open. Cancellation is safe."""
        while self._state.kind != "open":
            await self.wait_state_change(self._state)

    def registers_per_frame(self, *, overhead_bytes: int = 0) -> int:
        """How many registers a bulk transfer should put in its next frame.

        Full size when nobody polls; else so many that the frame keeps a poll waiting for no longer than the
        line's budget. `overhead_bytes` counts data bytes of the frame that are no payload: 4 for a plain write.
        """
        polled = self._queue.urgent_waits() or self._clock.monotonic() - self._urgent_at < POLLED_WITHIN_S
        budget_s = self.config.poll_wait_budget_s if polled else None
        return registers_per_frame(self._timing, budget_s, overhead_bytes)

    def set_probe(self, address: int, requests: tuple[Request, Request], answer_time_s: float) -> None:
        """Two harmless reads that the unit `address` answers, of different function or length.

        After a time-out one of them proves that no late answer is still to come. Without them the line uses
        reads that the unit has answered before. ValueError when both answers would look alike.
        """
        self._trust.set_probe(address, requests, answer_time_s)

    # asking

    async def transact(
        self,
        address: int,
        request: Request,
        *,
        urgency: Urgency,
        answer_time_s: float,
        tries: int | None = None,
        repeat_safe: bool = True,
    ) -> Answer:
        """Ask the unit `address` (1 to 247) and return its answer.

        `answer_time_s` is how long the unit may take between request and answer. `repeat_safe=False` sends the
        request at most once; a unit that has been silent for long gets one try (`silence`). Raises
        ReceiverException, NoAnswer, BrokenAnswer, WrongAnswer, LinkLost, PortUnavailable (at once while the port
        isn't open), Refused (`line-full`); a LineError's `sent` tells whether the request can have reached the
        unit. Cancellation is safe: what is on the wire is finished and its answer dropped.
        """
        _check_address(address)

        def submit() -> asyncio.Future[Outcome]:
            done: asyncio.Future[Outcome] = asyncio.get_running_loop().create_future()
            return self._submit(Job(address, urgency, done, request, answer_time_s))

        usual = self.config.tries if tries is None else tries
        try:
            answer = await attempt(
                submit,
                address=address,
                clock=self._clock,
                tally=self._tally,
                tries=self._silence.tries(address, usual),
                repeat_safe=repeat_safe,
            )
        except NoAnswer:
            self._silence.in_vain(address)
            raise
        except (BrokenAnswer, PeerError):
            self._silence.heard(address)
            raise
        self._silence.heard(address)
        return answer

    @asynccontextmanager
    async def hold(self, urgency: Urgency) -> AsyncIterator[HeldLine]:
        """The line alone, from its turn in the queue until the block ends. Raises as `transact` does."""
        held = HeldLine(self._clock, self._tally, self.config.tries, urgency)
        try:
            await self._submit(Hold(0, urgency, asyncio.get_running_loop().create_future(), held))
            yield held
        finally:
            held.release()

    def _submit(self, job: Waiting) -> asyncio.Future[Outcome]:
        if self._fault is not None:
            raise _again(self._fault)
        if job.urgency < Urgency.BULK:
            self._urgent_at = self._clock.monotonic()
        put_out = self._queue.push(job)
        if put_out is not None:
            self._tally.overflows += 1
            put_out.done.set_exception(_full(self.config.name))
        self._rouse()
        return job.done

    # the owner

    async def run(self) -> None:
        """Own the port until cancelled."""
        wait_s = FIRST_WAIT_S
        self._set_state("opening", None)
        try:
            while True:
                try:
                    wire = await self._opener(self.config, self._exchange)
                except PortUnavailable as fault:
                    self._set_state(_KINDS.get(fault.code, "failed"), fault)
                    self._fail_all(fault)
                    await self._clock.sleep(wait_s)
                    wait_s = min(2 * wait_s, LONGEST_WAIT_S)
                    continue
                wait_s = FIRST_WAIT_S
                await self._use(wire)
                if self._fault is not None:
                    await self._clock.sleep(wait_s)
        finally:
            self._set_state("closed", _closed(self.config))
            self._fail_all(_closed(self.config))

    async def _use(self, wire: Wire) -> None:
        """Serve the queue on an open port until it is lost, or silent for so long that it is opened anew."""
        self._exchange.attach(wire)
        self._tally.opened += 1
        self._silence = Silence()
        self._opened_at = self._clock.monotonic()
        self._silent_row = 0
        self._fault = None
        self._set_state("open", None)
        try:
            while self._fault is None and not self._half_open():
                job = self._queue.pop()
                if job is None:
                    await self._wait_work()
                elif isinstance(job, Hold):
                    await self._serve_hold(job)
                elif isinstance(job, Job):
                    await self._serve(job)
        finally:
            self._exchange.detach()
            await wire.close()

    async def _wait_work(self) -> None:
        self._exchange.rest()
        self._work = asyncio.get_running_loop().create_future()
        await self._work
        self._work = None

    def _rouse(self) -> None:
        if self._work is not None and not self._work.done():
            self._work.set_result(None)

    async def _serve_hold(self, hold: Hold) -> None:
        self._held = hold.held
        hold.done.set_result(Outcome(Result.ANSWER))
        while (inner := await hold.held.wait_job()) is not None:
            if not inner.done.done():
                await self._serve(inner)
        self._held = None

    async def _serve(self, job: Job) -> None:
        try:
            if await self._trusted(job):
                settle = partial(self._settle, job)
                await self._exchange.perform(job.address, job.request, job.answer_time_s, settle)
        except LinkLost as fault:
            _fail(job, fault)
        except asyncio.CancelledError:
            _fail(job, _closed(self.config))
            raise

    def _settle(self, job: Job, outcome: Outcome) -> None:
        self._judge(job.address, job.request, job.answer_time_s, outcome)
        if not job.done.done():
            job.done.set_result(outcome)

    async def _trusted(self, job: Job) -> bool:
        """Probe the unit if it owes an answer; when that fails so does the job's try."""
        probe = self._trust.probe(job.address)
        if probe is None:
            return True
        self._tally.probes += 1
        judge = partial(self._judge, job.address, probe.request, probe.answer_time_s)
        outcome = await self._exchange.perform(job.address, probe.request, probe.answer_time_s, judge, wary=True)
        if outcome.answer is not None:
            self._trust.settled(job.address)
        elif not job.done.done():
            job.done.set_result(Outcome(outcome.result, sent=False))
        return not job.done.done()

    def _judge(self, address: int, request: Request, answer_time_s: float, outcome: Outcome) -> None:
        received = self._tally.bytes_received
        silent = outcome.result is Result.SILENT and received == self._received_before
        self._silent_row = self._silent_row + 1 if silent else 0
        self._received_before = received
        if outcome.owed:
            self._trust.owes(address, request, answer_time_s)
        elif isinstance(outcome.answer, ExceptionAnswer):
            self._tally.exceptions += 1
        elif outcome.answer is not None:
            self._trust.answered(address, request, answer_time_s)

    def _half_open(self) -> bool:
        if self._silent_row < SILENT_ROW:
            return False
        return self._clock.monotonic() - self._opened_at >= REOPEN_AFTER_S

    # the port's fate

    def _port_lost(self, reason: str) -> None:
        self._tally.lost += 1
        remedy = "Put the adapter back; the line opens again by itself."
        self._set_state("lost", PortUnavailable(reason, remedy=remedy, code="port-missing"))
        self._fail_all(LinkLost(reason, remedy=remedy))

    def _fail_all(self, fault: LineError) -> None:
        for job in self._queue.drain():
            _fail(job, _again(fault))
        if self._held is not None:
            self._held.release(_again(fault))
            self._held = None
        self._rouse()

    def _set_state(self, kind: LineStateKind, fault: LineError | None) -> None:
        reason, remedy = (fault.message, fault.remedy) if fault is not None else ("", "")
        if kind == "opening":
            fault = PortUnavailable(
                f"The port of line {self.config.name} is being opened.", remedy="Try again in a moment."
            )
        self._fault = fault
        old = self._state
        if (kind, reason, remedy) != (old.kind, old.reason, old.remedy):
            self._state = LineState(kind, self._clock.monotonic(), reason, remedy)
            changed, self._changed = self._changed, asyncio.Event()
            changed.set()


def _check_address(address: int) -> None:
    if not 1 <= address <= 247:
        raise ValueError(f"unit address {address}: a single unit has 1 to 247")


def _fail(job: Waiting, fault: Exception) -> None:
    if not job.done.done():
        job.done.set_exception(fault)


def _closed(config: LineConfig) -> PortUnavailable:
    return PortUnavailable(f"Line {config.name} is not running.", remedy="Start the gateway.")


def _full(name: str) -> Refused:
    return Refused(
        f"Too many requests wait for line {name}; one of the least urgent was put out.",
        remedy="Ask less often, or wait for what was asked.",
        code="line-full",
    )


def _again(fault: LineError) -> LineError:
    """The same news as an exception of its own: one object must not be raised in several tasks."""
    copy = type(fault)(fault.message, remedy=fault.remedy, code=fault.code)
    copy.sent = False
    return copy
