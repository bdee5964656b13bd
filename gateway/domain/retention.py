"""What is kept about people and for how long, in words, with a site's own numbers (GDPR, Articles 5(1)(e) and 30).

docs/privacy.md has the same table with the numbers that hold where the settings say nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.domain.papers import RetentionRow

__all__ = ["Periods", "retention_rows"]


@dataclass(frozen=True, slots=True)
class Periods:
    """What the settings say; days, and counts of events and snapshots."""

    heard_days: int
    history_days: int
    audit_days: int
    events: int
    snapshots: int
    snapshot_months: int


def retention_rows(periods: Periods) -> tuple[RetentionRow, ...]:
    """Every kind of thing that can name a person or tell of one."""
    heard = f"{periods.heard_days} days"
    months = f", and one a month for {periods.snapshot_months} months" if periods.snapshot_months else ""
    return (
        RetentionRow("presses", "a serial, a time, a place", heard, "gateway.keep_heard_days"),
        RetentionRow(
            "all other events",
            "serials; names where a receiver keeps one; reasons that people wrote",
            f"the newest {periods.events:,} events",
            "",
        ),
        RetentionRow(
            "who had access to what; changes that were made; receipts",
            "names, serials, rights",
            f"{periods.history_days} days after it ended",
            "gateway.keep_history_days",
        ),
        RetentionRow(
            "the audit", "who asked for what, and whom it concerned", f"{periods.audit_days} days",
            "gateway.keep_audit_days",
        ),
        RetentionRow(
            "snapshots", "names as the receiver keeps them, serials, rights",
            f"the newest {periods.snapshots} of each receiver{months}", "snapshots.keep_last, snapshots.keep_months",
        ),
        RetentionRow(
            "copies of rosters", "the whole roster", "the last 10; 100 edits of a roster that is kept here", ""
        ),
        RetentionRow("revocations", "a serial, who asked, why", "until lifted", ""),
        RetentionRow("files set aside as damaged", "what was in them", heard, "gateway.keep_heard_days"),
    )  # fmt: skip
