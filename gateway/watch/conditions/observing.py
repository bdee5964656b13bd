"""Taking in what no event tells: links as they are now, first levels, line counts, the clock, who is known.

Pure. `Sight` is what one look at the live state shows.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from gateway.domain.live import LinkState, LiveReceiver
from gateway.ports import LineCount
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.rules import is_down
from gateway.watch.conditions.seeing import see_level
from gateway.watch.conditions.state import LineSample, LinkFacts, Moment, State

__all__ = ["Sight", "observe"]

#: How far apart a line's counts are remembered; our choice.
SAMPLE_S = 20.0


@dataclass(frozen=True, slots=True)
class Sight:
    """What is so now. `known` are the transmitters that the roster in force has."""

    now: Moment
    live: Sequence[LiveReceiver] = ()
    trusted: bool = True
    lines: Mapping[str, LineCount] = field(default_factory=dict)
    known: Collection[int] = ()


def observe(premises: Premises, state: State, sight: Sight, *, besides: Collection[str] = ()) -> State:
    """The state after a look. `besides` are contacts that events not taken in yet tell of: a poll is ahead of those."""
    links = {each.name: _link(state, each, sight.now) for each in sight.live}
    lines = {name: _samples(premises, state, name, count, sight.now.at) for name, count in sight.lines.items()}
    if links != state.links or lines != state.lines:
        state = replace(state, links=links, lines=lines)
    if sight.trusted != (state.clock_lost is None):
        state = replace(state, clock_lost=None if sight.trusted else sight.now)
    state = _follow_known(premises, state, sight)
    for each in sight.live:
        if each.link is LinkState.ONLINE and each.status is not None:
            for number, violated in enumerate(each.status.input_violated, 1):
                if (key := f"{each.name}/{number}") not in besides:
                    state = see_level(premises, state, key, violated, sight.now)
    return state


def _link(state: State, live: LiveReceiver, now: Moment) -> LinkFacts:
    before = state.links.get(live.name)
    if before is None:
        return LinkFacts(live.link, now)
    if before.state is live.link:
        return before
    went_on = is_down(before.state) and is_down(live.link)
    return LinkFacts(live.link, before.since if went_on else now)


def _samples(premises: Premises, state: State, line: str, count: LineCount, at: float) -> tuple[LineSample, ...]:
    """The line's counts within the window, and the last ones before it, so that the window is filled."""
    before = state.lines.get(line, ())
    if before and count.sent < before[-1].sent:
        before = ()
    if before and at - before[-1].at < SAMPLE_S:
        return before
    samples = (*before, LineSample(at, count.sent, count.spoilt))
    while len(samples) > 2 and at - samples[1].at >= premises.limits.noise_window_s:
        samples = samples[1:]
    return samples


def _follow_known(premises: Premises, state: State, sight: Sight) -> State:
    """Transmitters are watched for being unused from when they are first seen in the roster."""
    if premises.limits.unused_days is None:
        return replace(state, heard={}) if state.heard else state
    if state.heard.keys() == set(sight.known):
        return state
    return replace(state, heard={serial: state.heard.get(serial, sight.now) for serial in sorted(sight.known)})
