"""What `gatepost roster check` does: two files at paths, no daemon, and the answer as a JSON document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from gateway.domain.roster import Fault
from gateway.ports import ReceiverFacts, RosterCheck
from gateway.roster.file_source import read_whole
from gateway.roster.reader import RosterFileReader
from gateway.roster.workbook import is_workbook

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
    reader = RosterFileReader(
        zone,
        fallback_encoding,
        roster_name=roster_path.name,
        groups_name=groups_path.name if groups_path else "groups",
    )
    roster = read_whole(roster_path)
    groups = read_whole(groups_path) if groups_path else None
    checked = reader.check(roster, groups, receivers)
    misnamed = _misnamed(roster_path, roster)
    return replace(checked, warnings=(*misnamed, *checked.warnings))


def _misnamed(path: Path, data: bytes) -> tuple[Fault, ...]:
    """A name that promises another kind of file: harmless here, and confusing for whoever opens it next."""
    workbook = is_workbook(data)
    if path.suffix.casefold() not in ((".csv", ".txt", ".tsv") if workbook else (".xlsx", ".ods", ".xlsm")):
        return ()
    found = f"{'a workbook' if workbook else 'text'} in a file named {path.suffix}"
    return (Fault(path.name, 0, "", found, f"rename it to end in {'.xlsx or .ods' if workbook else '.csv'}"),)


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
