"""From one sending to an answer or a typed error: how often to try, and what to say in the end.

Limits: `tries` sendings altogether; a unit that says it is busy (exceptions 05 and 06) is asked again after
50, 100, 200, 400 and 800 ms (our choice) and then its exception is passed on. A request that must not be
repeated is sent at most once, whatever happens to it; a probe that failed before it doesn't count as sending.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from gateway.clock import Clock
from gateway.errors import (
    BrokenAnswer,
    LineError,
    NoAnswer,
    PeerError,
    ReceiverException,
    WrongAnswer,
)
from gateway.line.exchange import Outcome, Result
from gateway.line.state import Tally
from gateway.modbus import Answer, ExceptionAnswer, ExceptionCode, exception_name

__all__ = ["BUSY_WAITS_S", "attempt", "receiver_exception"]

BUSY_WAITS_S = (0.05, 0.1, 0.2, 0.4, 0.8)
_BUSY = (ExceptionCode.ACKNOWLEDGE, ExceptionCode.DEVICE_BUSY)
_REMEDIES = {
    ExceptionCode.ILLEGAL_FUNCTION: "Check that the map fits this receiver: it doesn't know the function.",
    ExceptionCode.ILLEGAL_DATA_ADDRESS: "Check that the map fits this receiver: it has no such address.",
    ExceptionCode.ILLEGAL_DATA_VALUE: "Check the value against the limits that the receiver states.",
    ExceptionCode.DEVICE_FAILURE: "Look at the receiver itself: it reports a fault of its own.",
    ExceptionCode.ACKNOWLEDGE: "Wait until the receiver has finished its work and try again.",
    ExceptionCode.DEVICE_BUSY: "Wait until the receiver has finished its work and try again.",
    ExceptionCode.MEMORY_PARITY_ERROR: "Take a snapshot and have the receiver checked: its memory fails.",
    ExceptionCode.GATEWAY_PATH_UNAVAILABLE: "Check the converter between line and receiver.",
    ExceptionCode.GATEWAY_TARGET_SILENT: "Check that the receiver behind the converter has power.",
}


async def attempt(
    submit: Callable[[], asyncio.Future[Outcome]],
    *,
    address: int,
    clock: Clock,
    tally: Tally,
    tries: int,
    repeat_safe: bool,
) -> Answer:
    """Submit until there is an answer or the limits are reached."""
    waits = iter(BUSY_WAITS_S if repeat_safe and tries > 1 else ())
    failures = 0
    while True:
        outcome = await submit()
        answer = outcome.answer
        if isinstance(answer, ExceptionAnswer):
            wait_s = next(waits, None) if answer.code in _BUSY else None
            if wait_s is None:
                raise receiver_exception(address, answer)
            await clock.sleep(wait_s)
        elif answer is not None:
            return answer
        else:
            failures += 1
            if failures >= tries or (outcome.sent and not repeat_safe):
                raise _failure(address, outcome, failures)
        tally.retries += 1


def receiver_exception(address: int, answer: ExceptionAnswer) -> ReceiverException:
    """The unit's refusal in words."""
    known = {int(code): text for code, text in _REMEDIES.items()}
    return ReceiverException(
        f"Receiver {address} refused function {answer.function}: {exception_name(answer.code)}.",
        function=answer.function,
        exception=answer.code,
        remedy=known.get(answer.code, "Look the code up in the receiver's own manual."),
    )


def _failure(address: int, outcome: Outcome, failures: int) -> LineError | PeerError:
    times = "once" if failures == 1 else f"{failures} times"
    fault: LineError
    if outcome.result is Result.FOREIGN:
        return WrongAnswer(
            f"Receiver {address} was asked {times}, and an answer to something else came.",
            remedy="Look for a second master on the line or two units with one address.",
        )
    if outcome.result is Result.SILENT:
        fault = NoAnswer(
            f"Receiver {address} did not answer ({times} asked).",
            remedy="Check its power, the two wires, its address, and that its baud rate is the line's.",
        )
    elif outcome.result is Result.CROWDED:
        fault = BrokenAnswer(
            f"The line is never silent, so receiver {address} could not be asked.",
            remedy="Look for a second master on the line, noise, or a wrong baud rate.",
        )
    else:
        fault = BrokenAnswer(
            f"Only damaged answers came from receiver {address} ({times} asked).",
            remedy="Check baud rate, parity, cable and its ends; look for two units with one address.",
        )
    fault.sent = outcome.sent
    return fault
