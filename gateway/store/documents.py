"""Small JSON documents that use cases remember over a restart, by key.

Written inside the journal's transaction, so that a document never knows more or less than the events beside it.
The whole of them is kept in memory; what a document means is its owner's business.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

from gateway.store.codec import canonical, parse

__all__ = ["SqliteDocuments"]


class SqliteDocuments:
    """`ports.Documents`."""

    def __init__(self) -> None:
        self._texts: dict[str, str] = {}

    def load(self, key: str) -> Any:
        return parse(self._texts[key]) if key in self._texts else None

    def fill(self, db: sqlite3.Connection) -> None:
        self._texts = dict(db.execute("select key, value from documents"))

    def write(self, db: sqlite3.Connection, documents: Mapping[str, Any]) -> None:
        """Inside the journal's transaction."""
        rows = [(key, canonical(value)) for key, value in documents.items()]
        db.executemany("insert or replace into documents values (?, ?)", rows)

    def keep(self, documents: Mapping[str, Any]) -> None:
        """Take over what has just become durable."""
        self._texts = {**self._texts, **{key: canonical(value) for key, value in documents.items()}}
