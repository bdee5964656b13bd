"""Whether parts make progress, and what the gateway's health is made of."""

from __future__ import annotations

import pytest

from gateway.daemon.pulse import STUCK_S, Pulse
from gateway.domain.health import Health
from tests.fakes.clock import FakeClock


async def test_who_makes_no_progress_for_too_long_is_named() -> None:
    """Each by itself, and no longer once it moves again."""
    clock = FakeClock()
    pulse = Pulse(clock, ("store", "watch"))
    await clock.advance(STUCK_S)
    assert pulse.stuck() == ()
    pulse.beat("store")
    await clock.advance(1)
    assert pulse.stuck() == ("watch",)
    await clock.advance(STUCK_S)
    assert pulse.stuck() == ("store", "watch")
    pulse.beat("watch")
    assert pulse.stuck() == ("store",)


@pytest.mark.parametrize(
    ("health", "live", "ready"),
    [
        (Health(), True, True),
        (Health(stuck=("store",)), False, False),
        (Health(lacking=("journal",)), True, False),
        (Health(stuck=("watch",), lacking=("lines",)), False, False),
    ],
)
def test_live_and_ready(health: Health, live: bool, ready: bool) -> None:
    """What a restart can't mend is no reason to restart."""
    assert (health.live, health.ready) == (live, ready)
