"""Rule 4 of the design: removals of 3 or more and more than 20 %, or to nothing, wait for approval."""

from __future__ import annotations

import pytest

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind
from gateway.sync.guard import hold_reason
from tests.fakes.receiver import some_identity, some_limits, some_slot


def changes(removed: int, losing: int, free_of_guard: int, added: int) -> list[Change]:
    """Changes of the lowest slots, in that order; additions go behind."""
    made = []
    for number in range(1, removed + losing + free_of_guard + 1):
        before = some_slot(number, number)
        if number <= removed:
            made.append(Change(ChangeKind.REMOVED, number, before, None, "", guarded=True))
        elif number <= removed + losing:
            made.append(
                Change(ChangeKind.CHANGED, number, before, some_slot(number, number, [(2, 2)]), "", guarded=True)
            )
        else:
            made.append(Change(ChangeKind.REMOVED, number, before, None, "", revoked=True))
    made += [Change(ChangeKind.ADDED, 100 + n, None, some_slot(100 + n, 100 + n), "") for n in range(added)]
    return made


@pytest.mark.parametrize(
    ("held", "removed", "losing", "free_of_guard", "added", "is_held"),
    [
        (10, 2, 0, 0, 0, False),  # 20 % but only two
        (15, 3, 0, 0, 0, False),  # three, exactly 20 %
        (14, 3, 0, 0, 0, True),  # three, more than 20 %
        (100, 20, 0, 0, 0, False),
        (100, 21, 0, 0, 0, True),
        (15, 0, 3, 0, 0, False),
        (14, 0, 3, 0, 0, True),  # taking rights from that many
        (14, 1, 2, 0, 0, True),  # a removal takes rights too
        (14, 2, 0, 10, 0, False),  # revocations and endings by date don't count
        (14, 0, 0, 14, 0, False),
        (1, 1, 0, 0, 0, True),  # emptied
        (2, 2, 0, 0, 0, True),
        (2, 2, 0, 0, 2, False),  # two replaced by two: not empty, not three
        (3, 3, 0, 0, 3, True),
        (2, 1, 0, 1, 0, True),  # the last one that a person would miss
        (0, 0, 0, 0, 500, False),  # additions alone
    ],
)
def test_what_is_held(held: int, removed: int, losing: int, free_of_guard: int, added: int, is_held: bool) -> None:
    """The table of rule 4."""
    mirror = Mirror(
        "slip-gate", some_identity(), some_limits(slots=1024), 1, {n: some_slot(n, n) for n in range(1, held + 1)}
    )
    reason = hold_reason(mirror, changes(removed, losing, free_of_guard, added))
    assert bool(reason) is is_held
    if is_held:
        assert "slip-gate" in reason
        assert " 0 " not in reason  # what is not done is not said
