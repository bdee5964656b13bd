"""Sending each kind of event once as a test, for the sheet that a commissioning ends with.

Beside the queue, whatever it waits for. At the first failing of the endpoint the rest is not tried: it would only
wait. Ids of tests have an epoch of their own, so that no receiver takes one for an event it has seen.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator

from gateway.clock import Clock
from gateway.domain.events import Event, EventId
from gateway.ports import Delivered, Delivery, EventRejected, Outlet, Parcel, Sample, SampleOutcome

__all__ = ["try_samples"]

LIMIT_S = 90.0  # our choice: a caller of the API waits for it


async def try_samples(outlet: Outlet, clock: Clock) -> tuple[SampleOutcome, ...]:
    """The outcome of each sample, in order."""
    outcomes: list[SampleOutcome] = []
    failed, ends = False, clock.monotonic() + LIMIT_S
    for sample, event in _events(outlet.samples(), clock):
        begun = clock.monotonic()
        if failed or begun >= ends:
            outcomes.append(SampleOutcome(sample, event, "not-tried", "", 0.0))
            continue
        try:
            async with clock.timeout(ends - begun):
                delivery = await outlet.deliver((Parcel(event, event.id.number, test=True),))
            outcome, answer = _outcome(delivery)
        except TimeoutError:
            outcome, answer = "failed", "It did not end in time."
        failed = outcome == "failed"
        outcomes.append(SampleOutcome(sample, event, outcome, answer, round(clock.monotonic() - begun, 3)))
    return tuple(outcomes)


def _events(samples: tuple[Sample, ...], clock: Clock) -> Iterator[tuple[Sample, Event]]:
    epoch = f"test{secrets.token_hex(4)}"
    for number, sample in enumerate(samples, 1):
        draft = sample.draft
        data = {**draft.data, "test": True}
        now, ticks = clock.now(), clock.monotonic()
        yield sample, Event(EventId(epoch, number), draft.name, draft.receiver, now, True, "test", ticks, data)


def _outcome(delivery: Delivery) -> tuple[str, str]:
    if isinstance(delivery, Delivered):
        return "delivered", delivery.answer
    if isinstance(delivery, EventRejected):
        return "rejected", f"{delivery.problem} {delivery.remedy}".strip()
    reason = getattr(delivery, "problem", None) or getattr(delivery, "reason", "")
    return "failed", f"{reason} {getattr(delivery, 'remedy', '')}".strip()
