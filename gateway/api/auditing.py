"""Writing down who changes what, before it is done and when it is known how it ended.

Nothing is changed unaudited: when the first row can't be kept, the change is refused with the store's own error.
The one exception is a revocation, which must work with a full disk; the ledger keeps who asked for it and why.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import Any

import structlog
from aiohttp import web

from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.errors import GatepostError, StoreError

__all__ = ["audited"]

_log: structlog.typing.FilteringBoundLogger = structlog.get_logger(__name__)


@asynccontextmanager
async def audited(
    request: web.Request, what: str, detail: Mapping[str, Any], *, must_go_on: bool = False
) -> AsyncIterator[None]:
    """Around a change: a row `asked`, then a row `done` or with the code of the error that ended it.

    `what` is `noun.verb`; serials and names stand in `detail` alone, secrets nowhere. When only the second row
    can't be kept the change stands, the first row tells of it, and the log says so.
    """
    audit, who = context_of(request).services.audit, caller_of(request).name
    try:
        await audit.record(who, what, detail, outcome="asked")
    except StoreError:
        if not must_go_on:
            raise
        _log.error("audit.not_written", what=what, who=who)
    outcome = "failed"
    try:
        yield
        outcome = "done"
    except GatepostError as error:
        outcome = error.code
        raise
    finally:
        try:
            await audit.record(who, what, detail, outcome=outcome)
        except StoreError:
            _log.error("audit.outcome_not_written", what=what, who=who, outcome=outcome)
