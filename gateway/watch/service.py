"""Everything that watches: one poller per receiver, the live state, the mirrors' keeper.

Built by keyword from ports; `run` is one task of the daemon's tree and ends with it.
"""

from __future__ import annotations

import asyncio
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.domain.drift import DriftPolicy
from gateway.domain.receiver import Limits
from gateway.ports import DriftLedger, Journal, Keepsakes, Mirrors, Plans, Receiver
from gateway.watch.drift import DriftFinder
from gateway.watch.follower import Follower
from gateway.watch.keeper import Keeper
from gateway.watch.live_board import LiveBoard
from gateway.watch.pace import LineShare
from gateway.watch.poller import Poller
from gateway.watch.teller import Teller
from gateway.watch.telling import Names

__all__ = ["DEFAULT_POLL_RATE_HZ", "Watch", "Watched"]

DEFAULT_POLL_RATE_HZ = 5.0


@dataclass(frozen=True, slots=True)
class Watched:
    """A receiver to watch, the name of the line it shares with others, and how often it is polled at most.

    `turned` are the inputs whose high level is the normal one.
    """

    receiver: Receiver
    line: str
    poll_rate_hz: float = DEFAULT_POLL_RATE_HZ
    turned: frozenset[int] = frozenset()


class Watch:
    """`live` is `ports.LiveView`, `keeper` is `ports.MirrorKeeper`; both may be used before and during `run`."""

    def __init__(
        self,
        receivers: Sequence[Watched],
        *,
        journal: Journal,
        mirrors: Mirrors,
        plans: Plans,
        ledger: DriftLedger,
        clock: Clock,
        names: Names | None = None,
        policies: Mapping[str, DriftPolicy] | None = None,
        by_hand: Mapping[str, Limits] | None = None,
        visited: Callable[[], frozenset[str]] = frozenset,
        keepsakes: Keepsakes | None = None,
    ) -> None:
        followers = [
            _follower(one, journal, mirrors, clock, names, visited=visited, keepsakes=keepsakes) for one in receivers
        ]
        shares: defaultdict[str, LineShare] = defaultdict(LineShare)
        drift = DriftFinder(
            plans, ledger=ledger, clock=clock, policies=policies or {}, names=names, keepsakes=keepsakes
        )
        self.live = LiveBoard([follower.name for follower in followers], clock.now(), by_hand=by_hand)
        self.keeper = Keeper(
            followers,
            mirrors=mirrors,
            drift=drift,
            tell_reading=lambda receiver, reading: self.live.update(receiver, reading=reading),
        )
        self._pollers = [
            Poller(
                follower,
                keeper=self.keeper,
                board=self.live,
                mirrors=mirrors,
                clock=clock,
                share=shares[one.line],
                rate_hz=one.poll_rate_hz,
            )
            for one, follower in zip(receivers, followers, strict=True)
        ]

    async def run(self) -> None:
        """Watch until cancelled. Nothing that a receiver, a line or the journal does ends it."""
        async with asyncio.TaskGroup() as group:
            for poller in self._pollers:
                group.create_task(poller.run())


def _follower(
    one: Watched,
    journal: Journal,
    mirrors: Mirrors,
    clock: Clock,
    names: Names | None,
    *,
    visited: Callable[[], frozenset[str]],
    keepsakes: Keepsakes | None,
) -> Follower:
    receiver = one.receiver
    mirror = mirrors.load(receiver.name)
    cursor = mirror.cursor if mirror else None
    teller = Teller(receiver.name, journal=journal, clock=clock, cursor=cursor, visited=visited)
    return Follower(
        receiver, teller=teller, journal=journal, mirrors=mirrors, clock=clock, names=names, turned=one.turned,
        keepsakes=keepsakes,
    )  # fmt: skip
