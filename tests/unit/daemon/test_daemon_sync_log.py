"""A timetable that comes round every minute fills no log."""

from __future__ import annotations

from datetime import UTC, datetime

from structlog.testing import capture_logs

from gateway.daemon.sync_log import SyncLog
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.errors import GatepostError, NoAnswer

_CHANGE = Change(ChangeKind.ADDED, 1, None, None, "Berth 1 is added.")


def _plan(state: PlanState, *changes: Change) -> Plan:
    return Plan("1", "slip-gate", datetime(2026, 3, 2, tzinfo=UTC), "digest", 1, changes, 0, 0.0, state=state)


def _day(outcome: Plan | GatepostError) -> list[tuple[str, str]]:
    """The lines of a day, a round each minute."""
    told = SyncLog()
    with capture_logs() as lines:
        for _ in range(24 * 60):
            told.note({"slip-gate": outcome})
    return [(line["event"], str(line.get("state", line.get("code")))) for line in lines]


def test_what_stays_as_it_is_is_told_once() -> None:
    """A receiver that is silent, a plan that waits for approval; nothing to do is no line at all (R10)."""
    assert _day(NoAnswer("It does not answer.")) == [("sync.failed", NoAnswer("").code)]
    assert _day(_plan(PlanState.HELD, _CHANGE)) == [("sync.done", "held")]
    assert _day(_plan(PlanState.APPLIED)) == []


def test_what_was_changed_is_told_each_time() -> None:
    """And so is a fault that comes again after it had gone."""
    told, applied, silent = SyncLog(), _plan(PlanState.APPLIED, _CHANGE), NoAnswer("It does not answer.")
    with capture_logs() as lines:
        for outcome in (applied, applied, silent, silent, _plan(PlanState.APPLIED), silent):
            told.note({"slip-gate": outcome})
    assert [line["event"] for line in lines] == ["sync.done", "sync.done", "sync.failed", "sync.failed"]
