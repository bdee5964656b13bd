"""What waits for the line: the most urgent first, the units of one urgency in turn.

Bound and overflow rule (our choice): at most `BOUND` requests wait. When one more comes, the least urgent and
latest of all is put out, which may be the new one; so a flood of bulk requests never keeps a revocation out.
Turns: each unit's requests of one urgency are numbered on from the number being served, so a unit that asks
much can't push another's single request back by more than one of its own.
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
from dataclasses import dataclass

from gateway.domain.urgency import Urgency
from gateway.line.exchange import Outcome
from gateway.modbus import Request

__all__ = ["BOUND", "Job", "Queue", "Waiting"]

BOUND = 256


@dataclass(slots=True, eq=False)
class Waiting:
    """Something that waits for its turn: a request, or a hold (`held`). Units take turns by `address`."""

    address: int
    urgency: Urgency
    done: asyncio.Future[Outcome]


@dataclass(slots=True, eq=False)
class Job(Waiting):
    """One sending of one request."""

    request: Request
    answer_time_s: float


_Entry = tuple[Urgency, int, int, Waiting]


class Queue:
    """Jobs in the order in which they go to the line."""

    def __init__(self, bound: int = BOUND) -> None:
        self._bound = bound
        self._heap: list[_Entry] = []
        self._order = itertools.count()
        self._turn: dict[Urgency, int] = {}
        self._last: dict[tuple[Urgency, int], int] = {}

    def __len__(self) -> int:
        return len(self._heap)

    def push(self, job: Waiting) -> Waiting | None:
        """Take `job` in; the job that is put out for it when there are too many, maybe itself."""
        key = (job.urgency, job.address)
        turn = max(self._turn.get(job.urgency, 0), self._last.get(key, 0)) + 1
        self._last[key] = turn
        heapq.heappush(self._heap, (job.urgency, turn, next(self._order), job))
        return self._put_out() if len(self._heap) > self._bound else None

    def pop(self) -> Waiting | None:
        """The next job that somebody still waits for."""
        while self._heap:
            urgency, turn, _, job = heapq.heappop(self._heap)
            self._turn[urgency] = turn
            if not job.done.done():
                return job
        return None

    def drain(self) -> list[Waiting]:
        """Everything that waits, taken out."""
        jobs = [entry[3] for entry in self._heap]
        self._heap.clear()
        return jobs

    def urgent_waits(self) -> bool:
        """True when something more urgent than bulk is waiting."""
        return bool(self._heap) and self._heap[0][0] < Urgency.BULK

    def _put_out(self) -> Waiting | None:
        self._heap = [entry for entry in self._heap if not entry[3].done.done()]
        if len(self._heap) <= self._bound:
            heapq.heapify(self._heap)
            return None
        last = max(self._heap, key=lambda entry: entry[:3])
        self._heap.remove(last)
        heapq.heapify(self._heap)
        return last[3]
