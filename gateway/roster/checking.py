"""What `gatepost roster check` does: two files at paths, no daemon, and the answer as a JSON document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from gateway.domain.roster import Fault
from gateway.ports import ReceiverFacts, RosterCheck
from gateway.roster.file_source import read_whole
from gateway.roster.reader import CsvRosterReader

__all__ = ["check_document", "check_files"]


def check_files(
    roster_path: Path,
    groups_path: Path | None,
    zone: ZoneInfo,
    *,
    fallback_encoding: str | None = None,
    receivers: Sequence[ReceiverFacts] | None = None,
) -> RosterCheck:
    """Check the files at two paths. Raises SourceUnreachable, SourceRefused, SettingsFault."""
    reader = CsvRosterReader(
        zone,
        fallback_encoding,
        roster_name=roster_path.name,
        groups_name=groups_path.name if groups_path else "groups",
    )
    roster = read_whole(roster_path)
    groups = read_whole(groups_path) if groups_path else None
    return reader.check(roster, groups, receivers)


def check_document(check: RosterCheck) -> dict[str, Any]:
    """The published JSON form: `ok`, counts, and every fault and warning with file, row, column, found, remedy."""
    return {
        "ok": not check.faults,
        "transmitters": check.transmitters,
        "holders": check.holders,
        "faults": [_document(fault) for fault in check.faults],
        "warnings": [_document(warning) for warning in check.warnings],
    }


def _document(fault: Fault) -> dict[str, Any]:
    return {
        "file": fault.file,
        "row": fault.row,
        "column": fault.column,
        "found": fault.found,
        "remedy": fault.remedy,
    }
