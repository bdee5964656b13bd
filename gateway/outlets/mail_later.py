"""Recipients that a mail server puts off while it takes the same mail for others.

Greylisting and full mailboxes speak of one recipient. Nobody else waits for that one: the mail counts as delivered,
and what it holds is gathered here for who was put off, and goes out again as one mail after 5, 15 and then every 60
minutes for a day. In memory alone: a restart within that time forgets it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from gateway.domain.events import Event

__all__ = ["PutOff", "Waiting"]

_STEPS_S = (300.0, 900.0, 3600.0)  # our choice: greylisting usually lasts some minutes
_GIVE_UP_S = 86_400.0
_MOST_EVENTS = 500


@dataclass(frozen=True, slots=True)
class Waiting:
    """What one recipient has still to get. `since_s` and `next_s` are monotonic."""

    recipient: str
    events: tuple[Event, ...]
    since_s: float
    next_s: float
    tries: int = 1


class PutOff:
    """By recipient."""

    def __init__(self) -> None:
        self._waiting: dict[str, Waiting] = {}

    def add(self, recipients: Iterable[str], events: Sequence[Event], now_s: float) -> None:
        """They were put off; what waits for one already goes out together with it."""
        for name in recipients:
            before = self._waiting.get(name) or Waiting(name, (), now_s, now_s + _STEPS_S[0])
            self._waiting[name] = replace(before, events=(*before.events, *events)[-_MOST_EVENTS:])

    def due(self, now_s: float) -> tuple[Waiting, ...]:
        """Those whose time has come."""
        return tuple(each for each in self._waiting.values() if each.next_s <= now_s)

    def again(self, tried: Waiting, now_s: float) -> bool:
        """Put off once more; False when it is given up."""
        if now_s - tried.since_s >= _GIVE_UP_S:
            self.done(tried, now_s)
            return False
        step = _STEPS_S[min(tried.tries, len(_STEPS_S) - 1)]
        now = self._waiting[tried.recipient]
        self._waiting[tried.recipient] = replace(now, next_s=now_s + step, tries=tried.tries + 1)
        return True

    def done(self, tried: Waiting, now_s: float) -> None:
        """It has these events, or never will; what came to it meanwhile begins anew."""
        left = self._waiting.pop(tried.recipient).events[len(tried.events) :]
        self.add([tried.recipient] if left else [], left, now_s)
