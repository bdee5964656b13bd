"""A database damaged on the card: flipped bytes in any page never crash the start, and the ledger holds.

Each case flips bytes in one random page of a filled database (200 pages in all). Either the damage is found, the file
set aside and a new epoch begun, or it lies where it does no harm and everything reads; never anything between.
"""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from gateway.clock import SystemClock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.receiver import RingPlace
from gateway.errors import StoreDamaged
from gateway.ports import Commit
from gateway.store.opening import Store, open_store
from tests.fakes.store_samples import FixedTrust, a_mirror, a_plan, a_revocation

PAGES = 200
SERIAL = a_revocation().serial


async def opened(folder: Path) -> Store:
    return await open_store(folder, SystemClock(), FixedTrust(), boot_id="b", reserve_bytes=4096)


async def filled(folder: Path) -> None:
    store = await opened(folder)
    await store.ledger.revoke(a_revocation(), {})
    drafts = tuple(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": n}) for n in range(500))
    await store.journal.commit(Commit(drafts, {"slip-gate": RingPlace(1, 9)}, a_mirror(numbers=range(1, 200))))
    await store.journal.commit(Commit(plans=tuple(a_plan(f"p{n}") for n in range(20))))
    for number in range(20):
        await store.audit.record("token t1", "output.operate", {"turn": number})
    await store.close()


async def read_all(store: Store) -> None:
    """Everything that a daemon reads; StoreDamaged when a row is not what was written."""
    after = 0
    while events := await store.journal.read(after, limit=200):
        after = events[-1].id.number
    store.mirrors.load("slip-gate")
    await store.plans.newest(limit=100)
    await store.audit.read()
    await store.journal.commit(Commit((EventDraft(EventName.GATEWAY_STARTED),)))


def flip(path: Path, chance: random.Random) -> None:
    content = bytearray(path.read_bytes())
    page = chance.randrange(len(content) // 1024) * 1024
    for _ in range(8):
        content[page + chance.randrange(1024)] ^= 1 << chance.randrange(8)
    path.write_bytes(content)


@pytest.mark.timeout(180)
async def test_flipped_bytes_in_any_page_are_survived(tmp_path: Path) -> None:
    """200 pages, 8 bits each: the store opens, revocations hold, and after one more start at most all of it works."""
    await filled(tmp_path / "whole")
    chance, aside = random.Random(14), 0
    for case in range(PAGES):
        folder = shutil.copytree(tmp_path / "whole", tmp_path / "damaged")
        flip(folder / "gatepost.db", chance)
        for start in (1, 2):
            store = await opened(folder)
            assert set(store.ledger.revocations()) == {SERIAL}, case
            set_aside = any("set aside" in notice for notice in store.notices)
            try:
                await read_all(store)
            except StoreDamaged:
                assert start == 1, f"case {case}: a damaged row survived a restart"
                assert not set_aside
                continue
            finally:
                await store.close()
            aside += set_aside
            break
        shutil.rmtree(folder)
    assert aside >= PAGES // 4, "the flips hit nothing and prove nothing"
