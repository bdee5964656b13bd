"""When each worker last made progress, and what that says of the gateway's health.

A worker is felt where it does its work: the store by a turn of its threads, a line by the frames that it sends, the
watch by the polls of receivers that answer. A worker that has nothing to do makes progress by being at rest.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, Mapping

from gateway.clock import Clock
from gateway.daemon.ground import Ground
from gateway.daemon.watching import Watching
from gateway.domain.health import Health
from gateway.domain.live import LinkState
from gateway.line import Line

__all__ = ["EVERY_S", "STUCK_S", "Pulse", "feel_pulse", "find_health", "moving_lines"]

EVERY_S = 3.0
#: Our choice: longer than any hold of the line and any sync of a slow card, and as long as the watchdog's limit.
STUCK_S = 30.0
_STEADY_HZ = 0.2


class Pulse:
    """By monotonic time, so that a stepped clock makes nobody sick."""

    def __init__(self, clock: Clock, workers: Iterable[str]) -> None:
        self._clock = clock
        self._last = dict.fromkeys(workers, clock.monotonic())

    def beat(self, worker: str) -> None:
        """It made progress, or rests with nothing to do."""
        self._last[worker] = self._clock.monotonic()

    def stuck(self) -> tuple[str, ...]:
        """Who made no progress for too long."""
        edge = self._clock.monotonic() - STUCK_S
        return tuple(sorted(worker for worker, last in self._last.items() if last < edge))


async def feel_pulse(ground: Ground, watching: Watching, pulse: Pulse) -> None:
    """For ever. The store is felt in a task of its own, so that a hung disk doesn't hide a healthy line."""

    async def feel_store() -> None:
        while True:
            await ground.store.alive()
            pulse.beat("store")
            await ground.clock.sleep(EVERY_S)

    sent = dict.fromkeys(ground.parts.lines, -1)
    async with asyncio.TaskGroup() as group:
        group.create_task(feel_store())
        while True:
            for name in moving_lines(ground, watching, sent):
                pulse.beat(f"line {name}")
            if not _is_behind(ground, watching):
                pulse.beat("watch")
            await ground.clock.sleep(EVERY_S)


def moving_lines(ground: Ground, watching: Watching, sent: dict[str, int]) -> list[str]:
    """The lines that sent something since the last look, or have nothing to send. `sent` is kept from look to look."""
    lines: Mapping[str, Line] = ground.parts.lines
    found = []
    for name, line in lines.items():
        now = line.counters.frames_sent
        if now != sent[name] or line.state.kind != "open" or not _is_polled(ground, watching, name):
            found.append(name)
        sent[name] = now
    return found


def find_health(ground: Ground, pulse: Pulse) -> Health:
    """As it is at this moment."""
    lines = ground.parts.lines.values()
    lacking = []
    if ground.store.journal.problem:
        lacking.append("journal")
    if lines and not any(line.state.kind == "open" for line in lines):
        lacking.append("lines")
    return Health(stuck=pulse.stuck(), lacking=tuple(lacking))


def _is_polled(ground: Ground, watching: Watching, line: str) -> bool:
    """Whether frames are due on it all the time: one of its receivers answers and is not polled at a snail's pace."""
    on_line = [name for name, its_line in ground.parts.line_of.items() if its_line == line]
    return any(
        watching.watch.live.receiver(name).link is LinkState.ONLINE
        and ground.settings.receivers[name].polls_per_second >= _STEADY_HZ
        for name in on_line
    )


def _is_behind(ground: Ground, watching: Watching) -> bool:
    """Whether a receiver that answers was not polled for too long, and for longer than three of its own turns."""
    now = ground.clock.monotonic()
    return any(
        live.link is LinkState.ONLINE
        and live.read_monotonic is not None
        and now - live.read_monotonic > max(STUCK_S, 3.0 / ground.settings.receivers[live.name].polls_per_second)
        for live in watching.watch.live.receivers()
    )
