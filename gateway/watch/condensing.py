"""One row for many changes: what keeps a chattering contact from filling the journal.

Pure. Each input, each output, and the loss of ring entries has a budget of rows that a busy barrier never uses up.
What is over it is held, and told as one row with the newest level and the number of `changes` that it stands for:
when the contact has come to rest, and every 30 s while it does not. Changes that follow each other faster than any
gate moves empty the budget at once, but for one row.

So at 50 changes a second the first minute has five rows and each later one two; at any other pace there are ten a
minute in the long run; and what changes now and then is told as it comes.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from gateway.domain.events import EventName
from gateway.watch.telling import Told

__all__ = ["Condenser"]

#: Rows that may be told at once, how long one more takes to be earned, and how often a contact that does not come to
#: rest is told of. Our choice: five cycles of a barrier in a minute, and 200 MiB written to a card in a day at most.
FULL_ROWS = 20.0
EARNED_EVERY_S = 6.0
TOLD_EVERY_S = 30.0
#: So many changes within so long are chattering: a gate's contact changes twice a cycle. Our choice.
FAST_CHANGES = 4
FAST_WITHIN_S = 1.0
#: A contact that has not changed for so long rests. Our choice.
REST_S = 2.0

_CONDENSED = {EventName.INPUT_CHANGED: "input", EventName.OUTPUT_CHANGED: "output", EventName.RING_OVERRUN: ""}
_Key = tuple[EventName, int]


@dataclass(slots=True)
class _Budget:
    """One contact's rows, and what is held of it."""

    rows: float = FULL_ROWS
    earned_at: float = 0.0
    told_at: float = 0.0
    recent: deque[float] = field(default_factory=lambda: deque(maxlen=FAST_CHANGES))
    held: Told | None = None
    held_changes: int = 0

    def earn(self, at: float) -> None:
        self.rows = min(FULL_ROWS, self.rows + max(0.0, at - self.earned_at) / EARNED_EVERY_S)
        self.earned_at = at

    def is_fast(self, at: float) -> bool:
        """Note a change, and say whether it and those before it are chattering."""
        self.recent.append(at)
        return len(self.recent) == FAST_CHANGES and at - self.recent[0] <= FAST_WITHIN_S

    def is_due(self, at: float) -> bool:
        """Whether what is held is to be told now."""
        rests = at - self.recent[-1] >= REST_S
        return (rests and self.rows >= 1) or at - self.told_at >= TOLD_EVERY_S


class Condenser:
    """Of one receiver. Times are monotonic seconds of the look; what a ring tells has its own spacing (uptime)."""

    def __init__(self) -> None:
        self._budgets: dict[_Key, _Budget] = {}

    @property
    def holds(self) -> bool:
        """True while something waits to be told."""
        return any(budget.held is not None for budget in self._budgets.values())

    def condense(self, told: Iterable[Told], at: float, uptime_s: float | None) -> list[Told]:
        """What is to be told now, of the news of a look at `at` and of what was held before. Order is kept."""
        now: list[Told] = []
        for one in told:
            key = _key(one)
            if key is None or self._may_tell(key, one, _time_of(one, at, uptime_s)):
                now.append(one)
        for budget in self._budgets.values():
            if budget.held is not None and budget.is_due(at):
                now.append(_summary(budget))
                budget.rows = max(0.0, budget.rows - 1)
                budget.told_at = at
                budget.held, budget.held_changes = None, 0
        return now

    def _may_tell(self, key: _Key, one: Told, at: float) -> bool:
        """Take a change from the budget; False when it is held instead."""
        budget = self._budgets.setdefault(key, _Budget(earned_at=at, told_at=at))
        budget.earn(at)
        fast = budget.is_fast(at)
        if fast:
            budget.rows = min(budget.rows, 1.0)
        if not fast and budget.held is None and budget.rows >= 1:
            budget.rows -= 1
            budget.told_at = at
            return True
        budget.held = _joined(budget.held, one)
        budget.held_changes += 1
        return False


def _key(told: Told) -> _Key | None:
    number = _CONDENSED.get(told.draft.name)
    if number is None:
        return None
    return told.draft.name, int(told.draft.data[number]) if number else 0


def _time_of(told: Told, at: float, uptime_s: float | None) -> float:
    """When it happened, on the look's own time; not later than the look."""
    if told.uptime_s is None or uptime_s is None:
        return at
    return min(at, at - (uptime_s - told.uptime_s))


def _joined(held: Told | None, one: Told) -> Told:
    """The newest stands for all; entries lost from the ring add up."""
    if held is None or one.draft.name is not EventName.RING_OVERRUN:
        return one
    counts = held.draft.data.get("lost"), one.draft.data.get("lost")
    lost = None if None in counts else sum(count for count in counts if count is not None)
    return replace(one, draft=replace(one.draft, data={**one.draft.data, "lost": lost}))


def _summary(budget: _Budget) -> Told:
    assert budget.held is not None
    data: dict[str, Any] = dict(budget.held.draft.data)
    if budget.held_changes > 1:
        data["changes"] = budget.held_changes
    return replace(budget.held, draft=replace(budget.held.draft, data=data))
