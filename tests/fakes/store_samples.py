"""Small true-to-life values for tests of what lasts: an invented boatyard's receiver, slots, plan, clock trust."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from datetime import UTC, datetime
from typing import TypeVar

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Identity, Limits, ReceiverSettings, Slot
from gateway.domain.revocation import Revocation

__all__ = ["IDENTITY", "LIMITS", "MORNING", "FixedTrust", "a_mirror", "a_plan", "a_revocation", "a_slot", "both_lives"]

T = TypeVar("T")

MORNING = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
IDENTITY = Identity("Fennel", "Yard receiver", "1.2", "FQ-0007", "reference", 1)
LIMITS = Limits(
    outputs=4, inputs=4, slots=1024, positions=8, on_time_min_s=1, on_time_max_s=3600, name_bytes=16, ring=256
)


class FixedTrust:
    """`ports.Trust` that says what the test set."""

    def __init__(self, trusted: bool = True) -> None:
        self.trusted = trusted


def a_slot(number: int, serial: int | None = None, name: str = "") -> Slot:
    """Position 1 works output 1, position 3 works outputs 2 and 4."""
    outputs = (frozenset({1}), frozenset[int](), frozenset({4, 2}))
    return Slot(number, serial or 48_231_900 + number, 4, outputs, name or f"Berth {number}", 1, b"\x00\xff")


def a_mirror(receiver: str = "slip-gate", numbers: Iterable[int] = (1, 2, 40), revision: int = 7) -> Mirror:
    """A mirror with a slot of each number."""
    return Mirror(
        receiver,
        IDENTITY,
        LIMITS,
        revision,
        {number: a_slot(number) for number in numbers},
        tuple(range(32)),
        ReceiverSettings((5, 5, 30, 5), local_programming=True, password_set=False),
    )


def a_plan(plan_id: str = "p1", receiver: str = "slip-gate", state: PlanState = PlanState.PENDING) -> Plan:
    """One slot added, one removed."""
    changes = (
        Change(ChangeKind.ADDED, 3, None, a_slot(3), "Berth 3 gets position 1"),
        Change(ChangeKind.REMOVED, 2, a_slot(2), None, "Berth 2 has left", revoked=True, guarded=True),
    )
    return Plan(plan_id, receiver, MORNING, "d" * 64, 7, changes, 400, 1.25, state, left_out=("no room for Berth 9",))


def a_revocation(serial: int = 48_231_902, asked_by: str = "harbour office") -> Revocation:
    """Lost at the slip gate."""
    return Revocation(serial, asked_by, "lost at the slip", MORNING)


async def both_lives(store: T, reopen: Callable[[], Awaitable[T]]) -> AsyncIterator[T]:
    """The store as it is, then as it is after a restart."""
    yield store
    yield await reopen()
