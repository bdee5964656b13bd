"""The ladder of the database's form: numbered SQL steps, each applied whole or not at all.

The version is SQLite's `user_version`. It rises in the transaction of its step, so that a power cut in the
middle leaves the step undone and the version with it. Steps are never edited once released; new ones are added.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

from gateway.errors import StoreTooNew

__all__ = ["climb", "shipped_steps"]


def shipped_steps() -> tuple[str, ...]:
    """The SQL of every step, in order; step n leads to version n."""
    folder = files("gateway.store") / "migrations"
    return tuple(
        step.read_text(encoding="utf-8")
        for step in sorted(folder.iterdir(), key=lambda entry: entry.name)
        if step.name.endswith(".sql")
    )


def climb(db: sqlite3.Connection, steps: Sequence[str], path: Path) -> None:
    """Bring a database to the newest version. Raises StoreTooNew, and sqlite3.Error with the step undone."""
    (version,) = db.execute("pragma user_version").fetchone()
    if version > len(steps):
        raise StoreTooNew(
            f"The database {path} has version {version}; this program knows versions up to {len(steps)}.",
            remedy="Install the newer gatepost again, or put back the state folder saved before the upgrade.",
        )
    for number, sql in enumerate(steps[version:], version + 1):
        try:
            db.executescript(f"begin immediate;\n{sql}\n;pragma user_version = {number};\ncommit;")
        except sqlite3.Error:
            if db.in_transaction:
                db.execute("rollback")
            raise
