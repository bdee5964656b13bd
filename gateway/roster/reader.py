"""A roster file and its groups file, read as a whole: everything wrong is found in one pass.

The order is: bytes to a table of rows (a workbook's sheets, or text and then CSV), groups and kinds, header, rows.
Which kind of file it is, its bytes say and never its name. From the table on, all kinds go the same way.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from gateway.domain.roster import Entry, Roster
from gateway.errors import SettingsFault
from gateway.ports import ReceiverFacts, RosterCheck
from gateway.roster.cells import Wrong
from gateway.roster.columns import is_known, match_header
from gateway.roster.csv_table import read_csv
from gateway.roster.decoding import decode
from gateway.roster.findings import Findings
from gateway.roster.groups import Groups
from gateway.roster.groups_sheet import SheetFindings, read_group_sheets
from gateway.roster.groups_toml import read_groups
from gateway.roster.header_place import misplaced_header
from gateway.roster.names import ReceiverNames
from gateway.roster.rows import RowReader
from gateway.roster.sheet import check_shape, report_problems, without_undecodable
from gateway.roster.table import Table
from gateway.roster.workbook import (
    GROUPS_SHEET,
    KINDS_SHEET,
    LABELS_SHEET,
    Workbook,
    is_workbook,
    read_workbook,
)

__all__ = ["RosterFileReader", "roster_digest"]

_AGAIN = "nothing was changed; save or copy the file again"


def roster_digest(roster: bytes, groups: bytes | None) -> str:
    """SHA-256, in hex, over the roster file followed by the groups file: `cat roster groups | sha256sum`."""
    return hashlib.sha256(roster + (groups or b"")).hexdigest()


class RosterFileReader:
    """Reads CSV, XLSX and ODS rosters, with groups in TOML or in the workbook. Dates without an offset are in `zone`.

    `fallback_encoding` is used for a file that isn't UTF-8; without one such a file is refused. The two names
    stand for the files in faults. Raises SettingsFault for an encoding that does not exist.
    """

    def __init__(
        self,
        zone: ZoneInfo,
        fallback_encoding: str | None = None,
        *,
        roster_name: str = "roster",
        groups_name: str = "groups",
    ) -> None:
        self._zone = zone
        self._fallback = fallback_encoding
        self._roster_name = roster_name
        self._groups_name = groups_name
        try:
            b"a".decode(fallback_encoding or "utf-8", errors="replace")
        except LookupError as error:
            raise SettingsFault(
                f"There is no text encoding named {fallback_encoding!r}.",
                remedy="Write a name such as cp1252 or iso8859-15, or leave it out for UTF-8 alone.",
            ) from error

    def check(self, roster: bytes, groups: bytes | None, receivers: Sequence[ReceiverFacts] | None) -> RosterCheck:
        """All faults in one pass. `receivers` None leaves receiver and output names unchecked."""
        names = ReceiverNames(receivers)
        book = read_workbook(roster) if is_workbook(roster) else None
        if isinstance(book, Wrong):
            findings = Findings(self._roster_name)
            findings.fault(0, "", book)
            return RosterCheck(None, findings.faults, ())
        gathered, known = self._groups(book, groups, names)
        findings = Findings(self._roster_name)
        if book is not None:
            entries = self._check_table(book.roster, known, names, findings, is_workbook=True)
        else:
            entries = self._text_entries(roster, known, names, findings)
        return _checked([findings, *gathered], entries, known, roster_digest(roster, groups))

    def _groups(self, book: Workbook | None, data: bytes | None, names: ReceiverNames) -> tuple[list[Findings], Groups]:
        """Groups and kinds from the workbook's sheets, or else from the file beside the roster."""
        of_file = Findings(self._groups_name)
        if book is None or not book.has_groups:
            if data is not None and is_workbook(data):
                remedy = f"write groups as TOML, or as a sheet named {GROUPS_SHEET} in the roster's own workbook"
                of_file.fault(0, "", Wrong("a workbook, not a TOML file", remedy))
                return [of_file], Groups(given=True, readable=False)
            return [of_file], Groups() if data is None else read_groups(data, names, of_file)
        if data is not None:
            remedy = f"leave out the groups file, or the sheets {GROUPS_SHEET}, {KINDS_SHEET} and {LABELS_SHEET}"
            of_file.fault(0, "", Wrong("groups in a file and in the roster's workbook too", remedy))
        of_sheets = SheetFindings(
            *(Findings(f"{self._roster_name}, sheet {name}") for name in (GROUPS_SHEET, KINDS_SHEET, LABELS_SHEET))
        )
        found = read_group_sheets(book.groups, book.kinds, book.labels, names, of_sheets)
        return [of_file, *of_sheets.all], found

    def _text_entries(
        self, data: bytes, groups: Groups, receivers: ReceiverNames, findings: Findings
    ) -> tuple[Entry, ...]:
        if not data.strip():
            findings.fault(0, "", Wrong("an empty file", _AGAIN))
            return ()
        decoded = decode(data, self._fallback)
        if isinstance(decoded, Wrong):
            findings.fault(0, "", decoded)
            return ()
        bad_byte = None if decoded.bad_byte is None else (decoded.bad_byte, data[decoded.bad_byte])
        return self._check_table(read_csv(decoded.text, is_known), groups, receivers, findings, bad_byte)

    def _check_table(
        self,
        table: Table,
        groups: Groups,
        receivers: ReceiverNames,
        findings: Findings,
        bad_byte: tuple[int, int] | None = None,
        *,
        is_workbook: bool = False,
    ) -> tuple[Entry, ...]:
        """The entries of a table. `bad_byte` is the offset and the value of the first byte that isn't UTF-8."""
        rows = [row for row in table.rows if not row.blank]
        wrong = misplaced_header(rows, is_workbook=is_workbook) if rows else None
        if wrong is not None:
            report_problems(table, None, findings)
            findings.fault(rows[0].number, "", wrong)
            return ()
        header = match_header(rows[0].cells) if rows else None
        report_problems(table, header, findings)
        if header is None or not rows[1:]:
            if not table.problems:
                findings.fault(0, "", Wrong("a header and no rows" if rows else "no rows", _AGAIN))
            if header is None:
                return ()
        for column, wrong in header.problems:
            findings.fault(rows[0].number, column, wrong)
        if bad_byte is not None:
            rows = without_undecodable(rows, header, findings, *bad_byte)
        check_shape(table, header, findings)
        reader = RowReader(header, groups, receivers, self._zone, findings)
        entries = (reader.read(row) for row in rows[1:])
        return tuple(entry for entry in entries if entry is not None)


def _checked(gathered: Sequence[Findings], entries: tuple[Entry, ...], known: Groups, digest: str) -> RosterCheck:
    """The answer: a roster only where nothing at all is wrong."""
    faults = tuple(fault for findings in gathered for fault in findings.faults)
    return RosterCheck(
        roster=None if faults else Roster(entries, digest, known.kinds, known.groups, known.labels),
        faults=faults,
        warnings=tuple(warning for findings in gathered for warning in findings.warnings),
        transmitters=len(entries),
        holders=len({entry.holder.casefold() for entry in entries}),
    )
