"""Clock trust: only what a time service vouches for, and never after wall time fell back."""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from gateway.clock import Clock, SystemClock
from gateway.system.trust import Assume, ClockTrust, ask_timedatectl
from tests.fakes.clock import FakeClock


class Service:
    """What `timedatectl` would say, and how often it was asked."""

    def __init__(self, says: bool = False) -> None:
        self.says = says
        self.asked = 0

    async def ask(self, clock: Clock) -> bool:
        self.asked += 1
        return self.says


Maker = Callable[..., ClockTrust]


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


@pytest.fixture
def service() -> Service:
    return Service()


@pytest.fixture
def marker(tmp_path: Path) -> Path:
    return tmp_path / "synchronized"


@pytest.fixture
def trust(clock: FakeClock, service: Service, marker: Path) -> ClockTrust:
    return ClockTrust(clock, marker=marker, ask=service.ask)


def touch(marker: Path, second: int) -> None:
    marker.touch()
    os.utime(marker, (second, second))


async def test_nothing_vouches_for_a_plausible_time(trust: ClockTrust, service: Service) -> None:
    """Untrusted before the first look and after it."""
    assert not trust.trusted
    assert not await trust.look()
    assert service.asked == 1


async def test_the_marker_file_is_enough(trust: ClockTrust, service: Service, marker: Path) -> None:
    """With it nobody else is asked."""
    touch(marker, 1)
    assert await trust.look()
    assert trust.trusted
    assert service.asked == 0


async def test_without_a_marker_timedatectl_decides(trust: ClockTrust, service: Service) -> None:
    """Other time services write no marker."""
    service.says = True
    assert await trust.look()
    service.says = False
    assert not await trust.look()


async def test_time_that_fell_back_is_untrusted_at_once(
    trust: ClockTrust, marker: Path, clock: FakeClock, service: Service
) -> None:
    """Before any look finds it, and after looks until the marker is touched anew."""
    touch(marker, 1)
    await trust.look()
    clock.step_wall(-timedelta(hours=1))
    assert not trust.trusted
    for _ in range(3):
        await clock.advance(30)
        assert not await trust.look()
    touch(marker, 2)
    assert await trust.look()
    assert await trust.look()


async def test_after_a_fall_a_later_yes_of_timedatectl_counts(
    trust: ClockTrust, clock: FakeClock, service: Service
) -> None:
    """Not at the look that finds the fall, but at the next."""
    service.says = True
    await trust.look()
    clock.step_wall(-timedelta(days=14))
    assert not await trust.look()
    assert await trust.look()


async def test_a_correction_by_the_time_service_itself_is_trusted(
    trust: ClockTrust, marker: Path, clock: FakeClock
) -> None:
    """It steps the clock back and touches its marker: wrong before, right now."""
    touch(marker, 1)
    await trust.look()
    clock.step_wall(-timedelta(minutes=5))
    touch(marker, 2)
    assert await trust.look()


async def test_steps_forward_and_small_ones_back_are_no_fall(trust: ClockTrust, marker: Path, clock: FakeClock) -> None:
    """A late first synchronisation jumps forward; slewing moves by fractions of a second."""
    touch(marker, 1)
    await trust.look()
    clock.step_wall(timedelta(days=14))
    assert trust.trusted
    assert await trust.look()
    clock.step_wall(-timedelta(seconds=1))
    assert trust.trusted


@pytest.mark.parametrize("assume", [Assume.TRUSTED, Assume.UNTRUSTED])
async def test_a_setting_may_take_the_decision(
    clock: FakeClock, service: Service, marker: Path, assume: Assume
) -> None:
    """Whatever marker and service say, and nobody is asked."""
    touch(marker, 1)
    trust = ClockTrust(clock, assume=assume, marker=marker, ask=service.ask)
    assert trust.trusted is (assume is Assume.TRUSTED)
    assert await trust.look() is trust.trusted
    clock.step_wall(-timedelta(hours=1))
    assert trust.trusted is (assume is Assume.TRUSTED)
    assert service.asked == 0


async def test_watching_tells_each_change_within_30_s(trust: ClockTrust, marker: Path, clock: FakeClock) -> None:
    """The first state too, and nothing twice."""
    told: list[tuple[float, bool]] = []

    async def changed(trusted: bool) -> None:
        told.append((clock.monotonic(), trusted))

    task = asyncio.ensure_future(trust.watch(changed))
    await clock.advance(65)
    touch(marker, 1)
    await clock.advance(300)
    clock.step_wall(-timedelta(hours=1))
    await clock.advance(300)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert told == [(1000.0, False), (1090.0, True), (1390.0, False)]


@pytest.mark.parametrize(
    ("script", "answer"),
    [
        ('[ "$*" = "show -p NTPSynchronized" ] && echo NTPSynchronized=yes', True),
        ("echo NTPSynchronized=no", False),
        ("echo Failed to connect to bus >&2; exit 1", False),
    ],
)
async def test_timedatectl_is_asked_and_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, answer: bool
) -> None:
    """Its answer `NTPSynchronized=yes` (timedatectl(1)) alone counts as yes."""
    program(tmp_path, script)
    monkeypatch.setenv("PATH", f"{tmp_path}:/bin:/usr/bin")
    assert await ask_timedatectl(SystemClock()) is answer


async def test_a_board_without_timedatectl_has_no_vouching_service(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing program is a no."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert await ask_timedatectl(SystemClock()) is False


async def test_a_timedatectl_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After its time it is killed and counts as a no."""

    class Impatient(SystemClock):
        def timeout(self, seconds: float | None) -> asyncio.Timeout:
            assert seconds == 5.0
            return asyncio.timeout(0.05)

    program(tmp_path, "exec sleep 600")
    monkeypatch.setenv("PATH", f"{tmp_path}:/bin:/usr/bin")
    assert await ask_timedatectl(Impatient()) is False


def program(folder: Path, script: str) -> None:
    path = folder / "timedatectl"
    path.write_text(f"#!/bin/sh\n{script}\n", encoding="ascii")
    path.chmod(0o755)
