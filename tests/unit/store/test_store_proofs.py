"""Proofs belong to one revocation, and runs are told once."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import timedelta

from gateway.ports import Commit
from gateway.store.opening import Store
from tests.fakes.store_samples import MORNING, a_revocation, both_lives

Opener = Callable[[], Awaitable[Store]]
SERIAL = a_revocation().serial


async def test_a_proof_outlives_a_restart(store: Store, reopen: Opener) -> None:
    """Where it was read that the serial is gone stays known."""
    await store.ledger.revoke(a_revocation(), {})
    await store.journal.commit(Commit(proven=((SERIAL, "slip-gate"), (SERIAL, "car-park"))))
    async for opened in both_lives(store, reopen):
        assert opened.proofs.proven(SERIAL) == {"slip-gate", "car-park"}
        assert opened.proofs.proven(SERIAL + 1) == frozenset()


async def test_revoked_anew_is_proven_anew(store: Store, reopen: Opener) -> None:
    """A proof from before counts for nothing, even if the power failed right after the new revocation."""
    await store.ledger.revoke(a_revocation(), {})
    await store.journal.commit(Commit(proven=((SERIAL, "slip-gate"),)))
    await store.ledger.lift(SERIAL, "harbour office", "found again", MORNING)
    assert store.proofs.proven(SERIAL) == frozenset()
    await store.ledger.revoke(a_revocation(), {})
    async for opened in both_lives(store, reopen):
        assert opened.proofs.proven(SERIAL) == frozenset()


async def test_unproven_goes_before_proven(store: Store, reopen: Opener) -> None:
    """One commit may drop old proofs and hold new ones."""
    await store.ledger.revoke(a_revocation(), {})
    await store.journal.commit(Commit(proven=((SERIAL, "slip-gate"),)))
    await store.journal.commit(Commit(unproven=(SERIAL,), proven=((SERIAL, "car-park"),)))
    async for opened in both_lives(store, reopen):
        assert opened.proofs.proven(SERIAL) == {"car-park"}


async def test_what_is_not_revoked_can_not_be_proven(store: Store) -> None:
    """A proof without a revocation in force is passed over."""
    await store.journal.commit(Commit(proven=((SERIAL, "slip-gate"),)))
    await store.ledger.revoke(a_revocation(), {})
    assert store.proofs.proven(SERIAL) == frozenset()


async def test_runs_keep_the_newest_due_time_of_each_timetable(store: Store, reopen: Opener) -> None:
    """So that a run that was missed while the power was off is known."""
    await store.journal.commit(Commit(runs={"nightly": MORNING, "hourly": MORNING}))
    await store.journal.commit(Commit(runs={"hourly": MORNING + timedelta(hours=1)}))
    async for opened in both_lives(store, reopen):
        assert opened.runs.last("nightly") == MORNING
        assert opened.runs.last("hourly") == MORNING + timedelta(hours=1)
        assert opened.runs.last("weekly") is None
