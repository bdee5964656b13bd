"""What the log says of syncing on a timetable: what was changed, and what went wrong, each once.

A timetable may come round every minute. That nothing was to do is no news, and a receiver that has been silent since
noon is told at noon; the journal and the metrics have the rest.
"""

from __future__ import annotations

from collections.abc import Mapping

import structlog

from gateway.domain.plan import Plan, PlanState
from gateway.errors import GatepostError

__all__ = ["SyncLog"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.daemon")


class SyncLog:
    """`note` after each round."""

    def __init__(self) -> None:
        self._told: dict[str, str] = {}

    def note(self, outcomes: Mapping[str, Plan | GatepostError]) -> None:
        """By receiver, its plan as it ended, or why there was none."""
        for name, outcome in outcomes.items():
            word = str(outcome.state) if isinstance(outcome, Plan) else outcome.code
            again = self._told.get(name) == word
            self._told[name] = word
            if not isinstance(outcome, Plan):
                if not again:
                    log.warning("sync.failed", receiver=name, code=word)
            elif outcome.changes and (outcome.state is PlanState.APPLIED or not again):
                log.info("sync.done", receiver=name, state=word, changes=len(outcome.changes))
