"""Small values that use cases remember over a restart, by key.

Written inside the journal's transaction, so that a document never knows more or less than the events beside it.
The whole of them is kept in memory; what a document means is its owner's business. A document of an older or newer
program is read as far as its fields are known (see `codec`); one that can't be read counts as none.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any, TypeVar

import structlog

from gateway.store.codec import CodecFault, canonical, decode, encode, parse

__all__ = ["SqliteDocuments"]

T = TypeVar("T")

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.store")


class SqliteDocuments:
    """`ports.Documents`."""

    def __init__(self) -> None:
        self._texts: dict[str, str] = {}
        self._next: dict[str, str | None] = {}  # of the transaction under way; None: removed

    def load(self, key: str, kind: type[T]) -> T | None:
        if key not in self._texts:
            return None
        try:
            return decode(kind, parse(self._texts[key]))
        except CodecFault as fault:
            log.warning("document.unreadable", key=key, fault=str(fault))
            return None

    def texts(self) -> Mapping[str, str]:
        """Every document as canonical JSON, by key."""
        return self._texts

    def fill(self, db: sqlite3.Connection) -> None:
        self._texts = dict(db.execute("select key, value from documents"))

    def write(self, db: sqlite3.Connection, documents: Mapping[str, Any]) -> None:
        """Inside the journal's transaction."""
        self._next = {key: None if value is None else canonical(encode(value)) for key, value in documents.items()}
        kept = [(key, text) for key, text in self._next.items() if text is not None]
        db.executemany("insert or replace into documents values (?, ?)", kept)
        gone = [(key,) for key, text in self._next.items() if text is None]
        db.executemany("delete from documents where key = ?", gone)

    def keep(self) -> None:
        """Take over what has just become durable."""
        if self._next:
            texts = {**self._texts, **self._next}
            self._texts = {key: text for key, text in texts.items() if text is not None}
        self._next = {}
