"""One request on the wire and what comes back: silence, sending, collecting, deadline.

It is driven by bytes and by one alarm, not by tasks: the alarm that ends the silence sends the frame, and the
last byte of the answer ends the exchange. Whatever comes when nothing is asked is counted and dropped.

Times (s): the answer's deadline is request on the wire + the unit's answer time + answer on the wire +
`MARGIN_S`. A damaged answer is reported after `RESYNC_S` without another byte. After a time-out the line is
kept quiet until nothing has come for one more answer time, because Modbus RTU has no transaction number and
the late answer could pass for the next one's. The rest of that defence is in `trust`.

Wake-ups cost the processor most, so the port is told how many bytes the answer has and wakes the master once
for it. A shorter one, an exception above all, is read by the guard: the alarm at the moment by which this unit
has answered before, and `GUARD_S`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from gateway.clock import Alarm, Clock
from gateway.errors import LinkLost
from gateway.line.state import Tally
from gateway.line.timing import Timing
from gateway.line.wire import Wire
from gateway.modbus import LONGEST_FRAME, Answer, AnswerFramer, ExceptionAnswer, Heard, Request, frame

__all__ = ["Exchange", "Outcome", "Result"]

MARGIN_S = 0.015  # our choice: adapters hold bytes back for some milliseconds, the scheduler for some more
RESYNC_S = 0.005  # our choice: a bad CRC must be told within 10 ms
GAP_S = 0.050  # our choice: an answer that stops for longer is cut
CROWDED_S = 0.5  # our choice: how long to wait for a line that is never silent
QUIET_TIMES = 4  # our choice: noise may lengthen the quiet to this many answer times
GUARD_S = 0.002  # our choice: how much later than usual an answer may be before what there is gets read
FIRST_GUESS_S = 0.005  # our choice: how long a unit not yet heard is taken to need


class Result(Enum):
    """How an exchange ended."""

    ANSWER = "answer"
    SILENT = "silent"
    DAMAGED = "damaged"
    FOREIGN = "foreign"
    CROWDED = "crowded"


_COUNTERS = {
    Result.ANSWER: "answers",
    Result.SILENT: "timeouts",
    Result.DAMAGED: "damaged",
    Result.FOREIGN: "foreign",
    Result.CROWDED: "crowded",
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """`answer` is there when the result is ANSWER. `sent` is False when the request never left.

    `owed` says that the request's answer may still come.
    """

    result: Result
    answer: Answer | None = None
    sent: bool = True
    owed: bool = False


class _Phase(Enum):
    CLOSED = "closed"
    IDLE = "idle"
    SILENCE = "silence"
    ANSWER = "answer"


class Exchange:
    """The master's hand on one port. One exchange at a time; `attach` gives it the open port."""

    def __init__(self, clock: Clock, timing: Timing, tally: Tally, *, echo: bool, on_lost: Callable[[str], None]):
        self._clock = clock
        self._timing = timing
        self._tally = tally
        self._echo_configured = echo
        self._on_lost = on_lost
        self._alarm: Alarm | None = None
        self._wire: Wire | None = None
        self._phase = _Phase.CLOSED
        self._silent_from = 0.0  # when the last byte, ours or theirs, left the wire
        self._quiet_until = 0.0
        self._quiet_limit = 0.0
        self._quiet_s = 0.0
        self._turnaround_s: dict[int, float] = {}

    def attach(self, wire: Wire) -> None:
        """A port was opened; whatever it had received before is not ours."""
        if self._alarm is None:
            self._alarm = self._clock.alarm(self._ring)
        self._wire = wire
        self._echo = self._echo_configured
        self._phase = _Phase.IDLE
        self._silent_from = self._clock.monotonic()
        self._quiet_until = 0.0

    def detach(self) -> None:
        """The port is being given up on purpose."""
        self._phase = _Phase.CLOSED
        self._wire = None
        if self._alarm is not None:
            self._alarm.close()
            self._alarm = None

    def rest(self) -> None:
        """Nothing is asked for a while: no alarm is needed."""
        if self._alarm is not None:
            self._alarm.cancel()

    def perform(
        self,
        address: int,
        request: Request,
        answer_time_s: float,
        finished: Callable[[Outcome], None],
        *,
        wary: bool = False,
    ) -> asyncio.Future[Outcome]:
        """Ask, once. LinkLost when the port goes away meanwhile. `wary` waits on behind foreign frames.

        `finished` is called with the outcome before the future is done, so that whoever waits for the answer
        and whoever waits for the line go on in one turn of the event loop.
        """
        self._finished = finished
        self._done: asyncio.Future[Outcome] = asyncio.get_running_loop().create_future()
        if self._phase is _Phase.CLOSED:
            self._done.set_exception(_lost("The port was lost before the request was sent."))
            return self._done
        self._address, self._request = address, request
        self._frame = frame(address, request.encode())
        self._wary = wary
        length = request.answer_length
        answer_bytes = LONGEST_FRAME if length is None else length + 3
        self._patience_s = answer_time_s + self._timing.wire_s(answer_bytes) + MARGIN_S
        now = self._clock.monotonic()
        self._phase = _Phase.SILENCE
        self._give_up_at = max(now, self._quiet_limit) + CROWDED_S
        self._send_when_silent(now)
        return self._done

    # what the port tells

    def received(self, data: bytes) -> None:
        """Bytes came in."""
        at = self._clock.monotonic()
        self._silent_from = max(at, self._silent_from)
        self._tally.bytes_received += len(data)
        if self._phase is _Phase.ANSWER:
            self._collect(data, at)
        elif at < self._quiet_until:
            self._tally.late_bytes += len(data)
            self._quiet_until = min(at + self._quiet_s, self._quiet_limit)
        else:
            self._tally.stray_bytes += len(data)

    def lost(self, reason: str) -> None:
        """The port went away."""
        pending = self._phase in (_Phase.SILENCE, _Phase.ANSWER)
        sent = self._phase is _Phase.ANSWER
        self._phase = _Phase.CLOSED
        self._wire = None
        if self._alarm is not None:
            self._alarm.cancel()
        if pending and not self._done.done():
            self._done.set_exception(_lost(reason, sent=sent))
        self._on_lost(reason)

    # the alarm

    def _ring(self) -> None:
        if self._phase is _Phase.SILENCE:
            self._send_when_silent(self._clock.monotonic())
        elif self._phase is _Phase.ANSWER:
            self._look()

    def _send_when_silent(self, now: float) -> None:
        silent_at = max(self._silent_from + self._timing.silence_s, self._quiet_until)
        if now >= silent_at:
            self._send(now)
        elif now >= self._give_up_at:
            self._finish(Outcome(Result.CROWDED, sent=False))
        else:
            self._set_alarm(silent_at)

    def _send(self, now: float) -> None:
        assert self._wire is not None
        self._phase = _Phase.ANSWER
        self._new_framer()
        self._tally.frames_sent += 1
        self._tally.bytes_sent += len(self._frame)
        self._sent_at = now
        self._wire.expect(self._framer.missing)
        self._wire.send(self._frame)
        if self._phase is _Phase.ANSWER:  # else the port was lost in sending
            self._left_at = self._silent_from = self._clock.monotonic() + self._timing.wire_s(len(self._frame))
            self._deadline = self._left_at + self._patience_s
            usual_s = self._turnaround_s.get(self._address, FIRST_GUESS_S)
            guard_at = self._left_at + usual_s + self._timing.wire_s(self._framer.missing) + GUARD_S
            self._set_alarm(min(guard_at, self._deadline))

    def _new_framer(self) -> None:
        self._framer = AnswerFramer(self._address, self._request, self._frame, echo=self._echo)
        self._chunks: list[tuple[int, float]] = []

    # collecting

    def _collect(self, data: bytes, at: float) -> None:
        framer = self._framer
        heard = framer.feed(data)
        self._chunks.append((framer.heard_bytes, at))
        if heard is Heard.ANSWER:
            self._accept(at)
        elif heard is Heard.DAMAGED:
            self._expect(1)
            self._set_alarm(at + RESYNC_S)
        elif heard is Heard.PART:
            self._expect(framer.missing)

    def _expect(self, count: int) -> None:
        if self._wire is not None:
            self._wire.expect(count)

    def _accept(self, at: float) -> None:
        framer = self._framer
        if framer.echo_heard:
            self._echo = True
        if self._wire is not None and self._wire.paced and self._answer_began_at() < self._left_at:
            self._refuse_early(at)
            return
        assert framer.answer is not None
        if not isinstance(framer.answer, ExceptionAnswer):  # an exception was read when the guard rang
            self._learn(at - self._left_at - self._timing.wire_s(framer.heard_bytes))
        self._finish(Outcome(Result.ANSWER, framer.answer))

    def _learn(self, turnaround_s: float) -> None:
        """Keep how long the unit takes: up at once, down slowly."""
        usual_s = self._turnaround_s.get(self._address, 0.0)
        if turnaround_s < usual_s:
            turnaround_s = usual_s + 0.1 * (turnaround_s - usual_s)
        self._turnaround_s[self._address] = turnaround_s

    def _answer_began_at(self) -> float:
        """The earliest that the answer's first byte can have been complete, less its own length."""
        place = self._framer.answer_place
        end, at = next(chunk for chunk in self._chunks if chunk[0] > place)
        return at - self._timing.wire_s(end - place) + 1e-6

    def _refuse_early(self, at: float) -> None:
        """The frame began before the request can have left: our own echo, or somebody else's answer."""
        behind = self._framer.behind
        self._tally.early_bytes += self._framer.heard_bytes - len(behind)
        self._echo = self._echo or self._request.answer_head == self._frame[1:-2]
        self._new_framer()
        if self._echo:
            self._framer.feed(self._frame)
            self._chunks.append((len(self._frame), self._left_at))
        if behind:
            self._collect(behind, at)

    def _look(self) -> None:
        """The alarm rang: read what waits, then see whether it is time to give up."""
        if self._wire is not None:
            self._wire.read_now()
        if self._phase is not _Phase.ANSWER:
            return
        now, due = self._clock.monotonic(), self._due_at()
        if now < due:
            self._expect(1)
            self._set_alarm(due)
            return
        ended = self._framer.conclude()
        if self._wary and now < self._deadline and ended is not Heard.NOTHING:
            self._new_framer()
            self._set_alarm(self._deadline)
            return
        self._finish(self._verdict(ended))

    def _due_at(self) -> float:
        state = self._framer.state
        if state is Heard.DAMAGED:
            return self._silent_from + RESYNC_S
        if state is Heard.PART:
            return max(self._deadline, self._silent_from + GAP_S)
        return self._deadline

    def _verdict(self, ended: Heard) -> Outcome:
        if ended is Heard.NOTHING:
            return Outcome(Result.SILENT, owed=True)
        if ended is Heard.FOREIGN:
            return Outcome(Result.FOREIGN, owed=True)
        return Outcome(Result.DAMAGED, owed=not self._framer.began)

    def _finish(self, outcome: Outcome) -> None:
        now = self._clock.monotonic()
        if self._phase is _Phase.ANSWER:
            self._tally.busy_s += now - self._sent_at + self._timing.silence_s
            if outcome.result is Result.ANSWER:
                self._tally.answered(now - self._sent_at)
        self._phase = _Phase.IDLE
        self._expect(1)
        if outcome.owed:
            self._quiet_s = self._patience_s
            self._quiet_until = now + self._patience_s
            self._quiet_limit = now + QUIET_TIMES * self._patience_s
        counter = _COUNTERS[outcome.result]
        setattr(self._tally, counter, getattr(self._tally, counter) + 1)
        self._finished(outcome)
        if not self._done.done():
            self._done.set_result(outcome)

    def _set_alarm(self, at: float) -> None:
        assert self._alarm is not None
        self._alarm.set(at)


def _lost(reason: str, *, sent: bool = False) -> LinkLost:
    fault = LinkLost(reason, remedy="Put the adapter back; the line opens again by itself.")
    fault.sent = sent
    return fault
