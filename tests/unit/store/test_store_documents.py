"""Documents: what use cases remember over a restart."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit
from gateway.store.opening import Store, open_store
from tests.fakes.clock import FakeClock
from tests.fakes.use_cases import FakeTrust


async def _open(folder: Path) -> Store:
    return await open_store(folder, FakeClock(datetime(2026, 3, 2, tzinfo=UTC)), FakeTrust(), boot_id="b1")


async def test_a_document_outlives_a_restart(tmp_path: Path) -> None:
    """The last one committed under a key is there again; others are untouched; none is None."""
    store = await _open(tmp_path)
    await store.journal.commit(Commit(documents={"conditions": {"after": 1}, "visits": []}))
    event = EventDraft(EventName.GATEWAY_STARTED)
    await store.journal.commit(Commit(events=(event,), documents={"conditions": {"after": 2, "text": "Müller"}}))
    assert store.documents.load("conditions") == {"after": 2, "text": "Müller"}
    await store.close()
    store = await _open(tmp_path)
    assert store.documents.load("conditions") == {"after": 2, "text": "Müller"}
    assert store.documents.load("visits") == []
    assert store.documents.load("never") is None
    await store.close()


async def test_what_is_loaded_is_the_loaders_own(tmp_path: Path) -> None:
    """Changing what was loaded changes nothing that is kept."""
    store = await _open(tmp_path)
    await store.journal.commit(Commit(documents={"k": {"list": [1]}}))
    store.documents.load("k")["list"].append(2)
    assert store.documents.load("k") == {"list": [1]}
    await store.close()
