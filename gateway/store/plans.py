"""Plans and their outcomes.

What changes while a plan is applied (state, how much is done, outcome) is a small row; its changes with all
target values are a body that is written once, so that progress does not wear the memory card.
"""

from __future__ import annotations

import hashlib
import sqlite3
from typing import Any

from gateway.domain.plan import Plan
from gateway.store.codec import CodecFault, canonical, decode, encode, parse
from gateway.store.database import Database

__all__ = ["SqlitePlans", "write_plan"]

_PROGRESS = ("state", "hold", "done", "outcome", "snapshot", "receipt")
_COLUMNS = "select plans.progress, plan_bodies.body from plans join plan_bodies using (id)"


class SqlitePlans:
    """`ports.Plans`."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def load(self, plan_id: str) -> Plan | None:
        found = await self._select("where plans.id = ?", (plan_id,))
        return found[0] if found else None

    async def newest(
        self, *, receiver: str | None = None, limit: int = 50, before: str | None = None
    ) -> tuple[Plan, ...]:
        conditions, values = ["true"], []
        if receiver is not None:
            conditions.append("receiver = ?")
            values.append(receiver)
        if before is not None:
            conditions.append("sequence < (select sequence from plans where id = ?)")
            values.append(before)
        where = " and ".join(conditions)
        return await self._select(f"where {where} order by sequence desc limit ?", (*values, max(0, limit)))

    async def unfinished(self, receiver: str | None = None) -> tuple[Plan, ...]:
        one = "" if receiver is None else "and receiver = ?"
        return await self._select(f"where final = 0 {one} order by sequence", () if receiver is None else (receiver,))

    async def _select(self, rest: str, values: tuple[Any, ...]) -> tuple[Plan, ...]:
        rows = await self._database.read(lambda db: db.execute(f"{_COLUMNS} {rest}", values).fetchall())
        try:
            return tuple(decode(Plan, {**parse(body), **parse(progress)}) for progress, body in rows)
        except CodecFault as fault:
            raise self._database.found_damaged(f"a plan: {fault}") from fault


def write_plan(db: sqlite3.Connection, plan: Plan) -> None:
    """Save a plan as it stands, inside the journal's transaction."""
    plain = encode(plan)
    progress = canonical({name: plain.pop(name) for name in _PROGRESS})
    body = canonical(plain)
    digest = hashlib.sha256(body.encode()).hexdigest()
    known = db.execute("select body_digest from plans where id = ?", (plan.id,)).fetchone()
    db.execute(
        "insert into plans (id, receiver, state, final, progress, body_digest) values (?, ?, ?, ?, ?, ?)"
        " on conflict (id) do update set receiver = excluded.receiver, state = excluded.state,"
        " final = excluded.final, progress = excluded.progress, body_digest = excluded.body_digest",
        (plan.id, plan.receiver, plan.state.value, plan.state.is_final, progress, digest),
    )
    if known is None or known[0] != digest:
        db.execute("insert or replace into plan_bodies values (?, ?)", (plan.id, body))
