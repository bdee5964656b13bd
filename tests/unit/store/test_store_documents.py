"""Documents: what use cases remember over a restart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit
from gateway.store.opening import Store, open_store
from tests.fakes.clock import FakeClock
from tests.fakes.use_cases import FakeTrust


@dataclass(frozen=True, slots=True)
class Counts:
    after: int
    text: str = ""
    by_number: Mapping[int, datetime] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Other:
    needed: str


NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


async def _open(folder: Path) -> Store:
    return await open_store(folder, FakeClock(datetime(2026, 3, 2, tzinfo=UTC)), FakeTrust(), boot_id="b1")


async def test_a_document_outlives_a_restart(tmp_path: Path) -> None:
    """The last one committed under a key is there again; others are untouched; none is None."""
    store = await _open(tmp_path)
    await store.journal.commit(Commit(documents={"counts": Counts(1), "other": Other("x")}))
    event = EventDraft(EventName.GATEWAY_STARTED)
    newest = Counts(2, "Müller", {7: NOON})
    await store.journal.commit(Commit(events=(event,), documents={"counts": newest}))
    assert store.documents.load("counts", Counts) == newest
    await store.close()
    store = await _open(tmp_path)
    assert store.documents.load("counts", Counts) == newest
    assert store.documents.load("other", Other) == Other("x")
    assert store.documents.load("never", Other) is None
    await store.close()


async def test_a_document_of_another_shape_counts_as_none(tmp_path: Path) -> None:
    """Its owner then begins anew, as after a lost database."""
    store = await _open(tmp_path)
    await store.journal.commit(Commit(documents={"counts": Counts(1)}))
    assert store.documents.load("counts", Other) is None
    await store.close()


async def test_none_removes_what_was_kept(tmp_path: Path) -> None:
    """Over a restart too; one that is not there may be removed again."""
    store = await _open(tmp_path)
    await store.journal.commit(Commit(documents={"counts": Counts(1), "other": Other("x")}))
    await store.journal.commit(Commit(documents={"counts": None, "never": None}))
    assert store.documents.load("counts", Counts) is None
    await store.close()
    store = await _open(tmp_path)
    assert store.documents.load("counts", Counts) is None
    assert store.documents.load("other", Other) == Other("x")
    await store.close()
